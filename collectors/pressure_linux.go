package collectors

import (
	"bytes"
	"math"
	"path/filepath"
	"time"

	"sweepd/run"
)

// pressure reads how long some task waited for CPU, memory or input and output:
// the total of the line "some" in proc/pressure/*, in microseconds
// (Documentation/accounting/psi.rst).
type pressure struct{ roots Roots }

// NewPressure finds the kernel's pressure stall information.
func NewPressure(roots Roots) Collector { return pressure{roots} }

func (pressure) Name() string { return "pressure" }

func (p pressure) Scan() (offers []Offer, absences []Absence) {
	dir := p.roots.proc("pressure")
	for _, resource := range []string{"cpu", "memory", "io"} {
		path := filepath.Join(dir, resource)
		if !exists(path) {
			continue
		}
		offers = append(offers, Offer{
			Sensors: []run.Sensor{{ID: run.PressureStall, Instance: resource, Unit: "seconds", Kind: run.Counter,
				Source: path, Resolution: 1e-6}},
			Open: func() (Probe, error) {
				f, err := openSysFile(path)
				if err != nil {
					return nil, err
				}
				return &stallTotal{file: f}, nil
			},
		})
	}
	if len(offers) == 0 {
		absences = append(absences, Absence{Collector: p.Name(), Source: dir,
			Why: "the kernel does not account for stalls", Remedy: "start it with psi=1, if it was built with that"})
	}
	return offers, absences
}

type stallTotal struct{ file *sysFile }

func (p *stallTotal) setQuick(on bool) { p.file.quick = on }

var some, total = []byte("some "), []byte("total=")

func (p *stallTotal) Read(_ time.Duration, dst []float64) error {
	dst[0] = math.NaN()
	text, err := p.file.text()
	if err != nil {
		return err
	}
	line, _, _ := bytes.Cut(text, newline)
	_, digits, found := bytes.Cut(line, total)
	microseconds, ok := parseInt(digits)
	if !bytes.HasPrefix(line, some) || !found || !ok || microseconds < 0 {
		return p.file.refuse(text, `a line "some ... total=<microseconds>"`)
	}
	p.file.err = nil
	dst[0] = float64(microseconds) / 1e6
	return nil
}

func (p *stallTotal) Close() error { return p.file.Close() }

var newline = []byte("\n")
