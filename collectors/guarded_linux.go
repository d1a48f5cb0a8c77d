package collectors

import (
	"fmt"
	"math"
	"time"
)

// guarded is a probe of one sensor that is believed only inside limits and
// while no guard forbids it.
type guarded struct {
	guards []guard
	inputs []*sysFile // the first one that can be read counts
	limits limits
	// base is what a counter had counted when it was opened, NaN before the
	// first reading; last is its last reading. Both in file units.
	counter    bool
	base, last float64
}

// limits say what text in a file means and which of it is believed. Low and
// high are in file units and inclusive.
type limits struct {
	scale     float64
	low, high int64
	want      string
	believed  string // low to high for people; empty where want says it
}

// in is what is believed of a file whose unit is scale of the SI's, in words such as
// "an integer (microwatts)".
func (b bound) in(scale float64, want string) limits {
	return limits{scale: scale, low: int64(math.Round(b.low / scale)), high: int64(math.Round(b.high / scale)), want: want, believed: b.text}
}

// anyInteger leaves out nothing that parseInt takes.
const anyInteger = math.MaxInt64

var temperatureLimits = believedCelsius.in(1e-3, "an integer (thousandths of a degree Celsius)")

// guard is a file beside a reading that can forbid it.
type guard struct {
	file      *sysFile
	forbidden string // the text that forbids
	want      string
}

// guardedSource says what openGuarded opens.
type guardedSource struct {
	inputs  []string
	guards  []guardedBy
	limits  limits
	counter bool
}

type guardedBy struct{ path, forbidden, want string }

func openGuarded(source guardedSource) func() (Probe, error) {
	return func() (Probe, error) {
		p := &guarded{limits: source.limits, counter: source.counter, base: math.NaN()}
		for _, by := range source.guards {
			f, err := openSysFile(by.path)
			if err != nil {
				continue // an unreadable guard forbids nothing
			}
			p.guards = append(p.guards, guard{file: f, forbidden: by.forbidden, want: by.want})
		}
		var first error
		for _, path := range source.inputs {
			f, err := openSysFile(path)
			if err == nil {
				p.inputs = append(p.inputs, f)
			} else if first == nil {
				first = err
			}
		}
		if len(p.inputs) == 0 {
			return nil, closeAfter(p, first)
		}
		return p, nil
	}
}

// closeAfter closes what was opened before err stopped the opening.
func closeAfter(p Probe, err error) error {
	if cerr := p.Close(); cerr != nil {
		return fmt.Errorf("%w (and closing: %v)", err, cerr)
	}
	return err
}

func (p *guarded) Read(_ time.Duration, dst []float64) error {
	dst[0] = math.NaN()
	for i := range p.guards {
		if err := p.guards[i].check(); err != nil {
			return err
		}
	}
	var first error
	for _, f := range p.inputs {
		v, err := p.limits.read(f)
		if err == nil {
			dst[0] = p.value(v)
			return nil
		}
		if first == nil {
			first = err
		}
	}
	return first
}

func (p *guarded) value(raw int64) float64 {
	v := float64(raw)
	if !p.counter {
		return p.limits.inUnit(v)
	}
	if math.IsNaN(p.base) || v < p.last { // first reading, or the source was reset
		p.base = v
	}
	p.last = v
	return p.limits.inUnit(v - p.base)
}

// inUnit turns file units into the sensor's. It divides by the reciprocal where
// that is whole, so that 43850 m°C is the float64 nearest to 43.85.
func (l limits) inUnit(v float64) float64 {
	divisor := 1 / l.scale
	if whole := math.Round(divisor); whole > 1 && math.Abs(divisor-whole) < 1e-9*whole {
		return v / whole
	}
	return v * l.scale
}

// read gives the file's integer where it lies inside the limits.
func (l limits) read(f *sysFile) (int64, error) {
	text, err := f.text()
	if err != nil {
		return 0, err
	}
	switch v, ok := parseInt(text); {
	case ok && v >= l.low && v <= l.high:
		f.err = nil
		return v, nil
	case isInteger(text):
		return 0, f.refused(text, l.want, l.believed)
	}
	return 0, f.refuse(text, l.want)
}
func (g *guard) check() error {
	text, err := g.file.text()
	if err != nil {
		return nil
	}
	if string(text) == g.forbidden {
		return g.file.refuse(text, g.want)
	}
	g.file.err = nil
	return nil
}

func (p *guarded) Close() error {
	var first error
	for _, f := range p.inputs {
		if err := f.Close(); first == nil {
			first = err
		}
	}
	for _, g := range p.guards {
		if err := g.file.Close(); first == nil {
			first = err
		}
	}
	return first
}
