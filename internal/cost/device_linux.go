package main

import (
	"context"
	"errors"
	"time"

	"sweepd/internal/simdevice"
)

// changeEvery is how often the files of a device change.
const changeEvery = 100 * time.Millisecond

// liveDevice is a simulated device whose files change in real time.
type liveDevice struct {
	*simdevice.Device
	stop  context.CancelFunc
	ended chan error
}

func startDevice(dir string, cfg simdevice.Config) (*liveDevice, error) {
	d, err := simdevice.New(dir, cfg, time.Now())
	if err != nil {
		return nil, err
	}
	ctx, stop := context.WithCancel(context.Background())
	l := &liveDevice{Device: d, stop: stop, ended: make(chan error, 1)}
	go func() { l.ended <- d.AdvanceWithClock(ctx, changeEvery, time.Now) }()
	return l, nil
}

// Close ends the device's life; its tree stays.
func (l *liveDevice) Close() error {
	l.stop()
	return errors.Join(<-l.ended, l.Device.Close())
}

// Parts that are left out of a device that is to be small. The smallest has
// energy counters, CPUs and memory.
const (
	notOnSmallest = simdevice.PartBattery | simdevice.PartAdapter | simdevice.PartPowercapLimit | simdevice.PartFirmwareLimit |
		simdevice.PartPlatformProfile | simdevice.PartGPU | simdevice.PartGPUCap | simdevice.PartHwmon | simdevice.PartFan |
		simdevice.PartThermalZones | simdevice.PartCPUFreq | simdevice.PartThrottleCounts | simdevice.PartPressure
	notThermometers = notOnSmallest | simdevice.PartPowercap
)

// Sensors of a device of 2 CPUs without thermometers.
const (
	sensorsOfComplete = 40
	sensorsOfSmallest = 9
)

// startHandheld starts a device that plays a workload at 15 W and offers n
// sensors: a complete one on battery, or the smallest where that has too many.
func startHandheld(dir string, n int) (*liveDevice, error) {
	cfg := simdevice.UnitOak()
	cfg.CPUs = 2
	cfg.Thermometers = n - sensorsOfComplete
	if n < sensorsOfComplete {
		cfg.Without, cfg.Thermometers = notOnSmallest, n-sensorsOfSmallest
	}
	d, err := startDevice(dir, cfg)
	if err != nil {
		return nil, err
	}
	d.SetLimit(15)
	d.StartWorkload(simdevice.HarbourFlight())
	return d, nil
}
