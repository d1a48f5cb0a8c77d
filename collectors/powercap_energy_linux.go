package collectors

import (
	"errors"
	"math"
	"path/filepath"
	"time"

	"sweepd/run"
)

func offerEnergy(dir, instance, energy, power string) Offer {
	path := filepath.Join(dir, "energy_uj")
	return Offer{
		Sensors: []run.Sensor{
			{ID: energy, Instance: instance, Unit: "joules", Kind: run.Counter, Source: path, Resolution: 1e-6},
			{ID: power, Instance: instance, Unit: "watts", Source: path, Resolution: 1e-3},
		},
		Open:   func() (Probe, error) { return openEnergy(dir) },
		Remedy: energyRemedy,
	}
}

// energyCounter reads a counter of microjoules that wraps: the energy since it
// was opened, and the mean power since the previous reading.
type energyCounter struct {
	file  *sysFile
	count energyCount
}

var microjoules = limits{scale: 1e-6, low: 0, high: anyInteger, want: "microjoules from 0"}

func openEnergy(dir string) (Probe, error) {
	f, err := openSysFile(filepath.Join(dir, "energy_uj"))
	if err != nil {
		return nil, err
	}
	p := &energyCounter{file: f}
	r, err := openSysFile(filepath.Join(dir, "max_energy_range_uj"))
	if err != nil {
		return p, nil // without a range a fall is a reset
	}
	if v, err := microjoules.read(r); err == nil {
		p.count.span = v
	}
	if err := r.Close(); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return p, nil
}

func (p *energyCounter) Read(now time.Duration, dst []float64) error {
	dst[0], dst[1] = math.NaN(), math.NaN()
	raw, err := microjoules.read(p.file)
	if err != nil {
		return err
	}
	if dst[0], dst[1], err = p.count.next(now, raw); err != nil {
		return p.file.fail(err)
	}
	return nil
}

func (p *energyCounter) Close() error { return p.file.Close() }
