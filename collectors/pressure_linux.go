package collectors

import (
	"bytes"
	"path/filepath"

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
			Open: openParsed(path, `a line "some ... total=<microseconds>"`, stallSeconds),
		})
	}
	if len(offers) == 0 {
		absences = append(absences, Absence{Collector: p.Name(), Source: dir,
			Why: "the kernel does not account for stalls", Remedy: "start it with psi=1, if it was built with that"})
	}
	return offers, absences
}

var some, total = []byte("some "), []byte("total=")

// stallSeconds is the total of the first line, which is that of some tasks.
func stallSeconds(text []byte) (float64, bool) {
	line, _, _ := bytes.Cut(text, newline)
	_, digits, found := bytes.Cut(line, total)
	microseconds, ok := parseInt(digits)
	return float64(microseconds) / 1e6, bytes.HasPrefix(line, some) && found && ok && microseconds >= 0
}

var newline = []byte("\n")
