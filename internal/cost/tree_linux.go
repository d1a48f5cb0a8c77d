package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"sweepd/collectors"
	"sweepd/internal/simdevice"
)

// thermometers are temperatures on hwmon chips whose values wander, rewritten
// in place as the kernel's files change under an open descriptor.
type thermometers struct {
	files []*os.File
	milli []int
	rng   *rand.Rand
}

// channels of one chip.
const channels = 8

// newThermometers makes n temperatures below the folder of a sysfs.
func newThermometers(sys string, n int) (*thermometers, error) {
	t := &thermometers{rng: rand.New(rand.NewPCG(4, 10))}
	for i := range n {
		// Chips of the simulated device have lower numbers.
		dir := filepath.Join(sys, "class", "hwmon", fmt.Sprintf("hwmon%d", 100+i/channels))
		if i%channels == 0 {
			if err := os.MkdirAll(dir, 0o755); err != nil {
				return nil, errors.Join(err, t.Close())
			}
			if err := os.WriteFile(filepath.Join(dir, "name"), fmt.Appendf(nil, "sim_chip_%d\n", i/channels), 0o644); err != nil {
				return nil, errors.Join(err, t.Close())
			}
		}
		f, err := os.Create(filepath.Join(dir, fmt.Sprintf("temp%d_input", 1+i%channels)))
		if err != nil {
			return nil, errors.Join(err, t.Close())
		}
		t.files, t.milli = append(t.files, f), append(t.milli, 45_000)
	}
	return t, t.wander()
}

// wander moves each temperature by one eighth of a degree or leaves it, and
// holds it between 30 and 60 degrees Celsius, so that its text keeps its length.
func (t *thermometers) wander() error {
	var buf [8]byte
	for i, f := range t.files {
		t.milli[i] = min(max(t.milli[i]+125*(t.rng.IntN(3)-1), 30_000), 60_000)
		text := append(strconv.AppendInt(buf[:0], int64(t.milli[i]), 10), '\n')
		if _, err := f.WriteAt(text, 0); err != nil {
			return err
		}
	}
	return nil
}

// keepWandering has the temperatures change until ctx ends.
func (t *thermometers) keepWandering(ctx context.Context) error {
	tick := time.NewTicker(lifeStep)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		if err := t.wander(); err != nil {
			return err
		}
	}
}

// paths of the files.
func (t *thermometers) paths() []string {
	var list []string
	for _, f := range t.files {
		list = append(list, f.Name())
	}
	return list
}

func (t *thermometers) Close() error {
	var errs []error
	for _, f := range t.files {
		errs = append(errs, f.Close())
	}
	return errors.Join(errs...)
}

// handheld is a simulated device that lives in real time, with as many sensors
// as are wanted.
type handheld struct {
	device *simdevice.Device
	extra  *thermometers
	stop   chan struct{}
	done   sync.WaitGroup
	err    error // that ended its life; read after done
}

// fewParts leaves the smallest device: energy counters, CPUs and memory.
const fewParts = simdevice.PartBattery | simdevice.PartAdapter | simdevice.PartPowercapLimit | simdevice.PartFirmwareLimit |
	simdevice.PartPlatformProfile | simdevice.PartGPU | simdevice.PartGPUCap | simdevice.PartHwmon | simdevice.PartFan |
	simdevice.PartThermalZones | simdevice.PartCPUFreq | simdevice.PartThrottleCounts | simdevice.PartPressure

// newHandheld makes a device that plays a workload on battery and offers n
// sensors, 9 at least.
func newHandheld(dir string, n int) (*handheld, error) {
	cfg := simdevice.UnitOak()
	cfg.CPUs = 2
	if n < 40 {
		cfg.Without = fewParts
	}
	if err := os.Mkdir(dir, 0o755); err != nil {
		return nil, err
	}
	d, err := simdevice.New(dir, cfg, time.Now())
	if err != nil {
		return nil, err
	}
	h := &handheld{device: d, stop: make(chan struct{})}
	have := countSensors(h.roots())
	if have > n {
		return nil, errors.Join(fmt.Errorf("the simulated device has %d sensors, %d are wanted", have, n), d.Close())
	}
	if h.extra, err = newThermometers(d.SysRoot(), n-have); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	if have = countSensors(h.roots()); have != n {
		return nil, errors.Join(fmt.Errorf("the device offers %d sensors, %d are wanted", have, n), h.extra.Close(), d.Close())
	}
	d.SetLimit(15)
	if n >= 40 {
		d.Unplug()
	}
	d.StartWorkload(simdevice.HarbourFlight())
	h.done.Go(h.live)
	return h, nil
}

func (h *handheld) roots() collectors.Roots {
	return collectors.Roots{Sys: h.device.SysRoot(), Proc: h.device.ProcRoot()}
}

// sources are all collectors of the program on Linux.
func sources(r collectors.Roots) []collectors.Collector {
	return []collectors.Collector{
		collectors.NewPowerSupply(r), collectors.NewPowercap(r), collectors.NewFirmwareAttributes(r), collectors.NewPlatformProfile(r),
		collectors.NewHwmon(r), collectors.NewThermal(r), collectors.NewDRM(r), collectors.NewCPUFreq(r), collectors.NewCPUs(r),
		collectors.NewThrottle(r), collectors.NewPressure(r), collectors.NewHost(r),
	}
}

func countSensors(r collectors.Roots) int {
	s := collectors.NewSet(collectors.SetOptions{}, sources(r)...)
	defer s.Close()
	return len(s.Sensors())
}

// lifeStep is how often the device's files change.
const lifeStep = 100 * time.Millisecond

func (h *handheld) live() {
	tick := time.NewTicker(lifeStep)
	defer tick.Stop()
	for {
		select {
		case <-h.stop:
			return
		case <-tick.C:
		}
		h.device.Advance(lifeStep)
		if h.err = errors.Join(h.device.Flush(), h.extra.wander()); h.err != nil {
			return
		}
	}
}

// Close ends the device's life and removes its tree.
func (h *handheld) Close() error {
	close(h.stop)
	h.done.Wait()
	return errors.Join(h.err, h.extra.Close(), h.device.Close())
}
