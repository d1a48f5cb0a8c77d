package simdevice

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// Device is a simulated handheld. Its methods may be called concurrently.
type Device struct {
	mu    sync.Mutex
	cfg   Config
	start time.Time
	model *model
	tree  *tree // nil without one

	shownCPUs []bool        // CPUs whose folders the tree has
	lookNext  time.Duration // when all settings are looked at again
}

// New makes a device whose clock stands at start. It fills the folder dir, which
// it makes if needed, with sys, proc and etc; an empty dir makes a device
// without files. The tree has links and names with colons, as the kernel has, so
// on Windows only a device without files can be made. Close it in the end; the
// folder is the caller's to remove.
func New(dir string, cfg Config, start time.Time) (*Device, error) {
	cfg, err := cfg.withDefaults()
	if err != nil {
		return nil, err
	}
	d := &Device{cfg: cfg, start: start, model: newModel(cfg)}
	if dir == "" {
		return d, nil
	}
	root, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(root, 0o755); err != nil {
		return nil, err
	}
	d.tree = newTree(root)
	d.build()
	if err := d.Flush(); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	return d, nil
}

// build makes the tree's files.
func (d *Device) build() {
	for _, p := range []struct {
		part Parts
		add  func(*Device, *tree)
	}{
		{PartBattery, addBatteries},
		{PartAdapter, addAdapter},
		{PartPowercap, addPowercap},
		{PartFirmwareLimit, addFirmwareLimits},
		{PartPlatformProfile, addPlatformProfile},
		{PartHwmon, addHwmon},
		{PartFan, addFan},
		{0, addThermometers},
		{PartThermalZones, addThermalZones},
		{0, addCPUs},
		{PartCPUFreq, addCPUFreq},
		{PartThrottleCounts, addThrottleCounts},
		{PartGPU, addGPU},
		{0, addProc},
		{0, addStatic},
		{PartDMI, addIdentity},
		{PartBacklight, addBacklight},
		{PartRadios, addRadios},
	} {
		if d.cfg.Without&p.part == 0 {
			p.add(d, d.tree)
		}
	}
}

// Advance lets time pass. It first obeys what was written into the tree's
// settings. It does not touch the tree; Flush does.
func (d *Device) Advance(by time.Duration) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.obeyWritesLocked()
	d.model.advance(by)
}

// AdvanceTo lets time pass until t, or not at all if that is past.
func (d *Device) AdvanceTo(t time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.obeyWritesLocked()
	d.model.advance(t.Sub(d.nowLocked()))
}

// Now is the device's time.
func (d *Device) Now() time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.nowLocked()
}

func (d *Device) nowLocked() time.Time { return d.start.Add(d.model.now) }

// Flush writes the files whose text changed.
func (d *Device) Flush() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.tree == nil {
		return nil
	}
	d.obeyWritesLocked()
	d.tree.flush()
	d.switchCPUs()
	return d.tree.err
}

func (d *Device) obeyWritesLocked() {
	if d.tree == nil {
		return
	}
	all := d.model.now >= d.lookNext
	if all {
		d.lookNext = d.model.now + lookRarely
	}
	d.tree.obeyWrites(d.cfg.IgnoreWrites, all)
}

// lookRarely is how often it is looked whether somebody wrote into the many files of the
// processors.
const lookRarely = time.Second

// Close closes the tree's files and leaves them where they are. A closed device
// is of no more use; closing it twice is harmless.
func (d *Device) Close() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.tree == nil {
		return nil
	}
	return d.tree.close()
}

// SysRoot is the folder to give as HOST_SYS.
func (d *Device) SysRoot() string { return d.rooted("sys") }

// ProcRoot is the folder to give as HOST_PROC.
func (d *Device) ProcRoot() string { return d.rooted("proc") }

// EtcRoot is the folder to give as HOST_ETC.
func (d *Device) EtcRoot() string { return d.rooted("etc") }

func (d *Device) rooted(name string) string {
	if d.tree == nil {
		return ""
	}
	return filepath.Join(d.tree.root, name)
}

// Environ returns the variables, as KEY=value, that make the collectors and
// gopsutil read this device.
func (d *Device) Environ() []string {
	return []string{"HOST_SYS=" + d.SysRoot(), "HOST_PROC=" + d.ProcRoot(), "HOST_ETC=" + d.EtcRoot()}
}

// Config returns the configuration with its defaults filled in.
func (d *Device) Config() Config { return d.cfg }

func milli(celsius float64) int64 { return int64(math.Round(celsius * 1000)) }

func micro(v float64) int64 { return int64(math.Round(v * 1e6)) }
