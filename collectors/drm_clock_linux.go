package collectors

import (
	"bytes"
	"math"
	"path/filepath"
	"time"

	"sweepd/run"
)

// clock offers the card's clock from the best source: the sensor chip's freq1
// comes with its channels; else the table of levels; else the actual clock that
// the driver of the other large family reports in MHz, in one file for the card
// or one for each unit of it (the second kind of file is newer than Linux 6.1, whose
// source was looked at; nobody looked its name up).
func (c graphicsCard) clock() []Offer {
	if _, ok := c.chip.channel("freq1"); ok {
		return nil
	}
	s := run.Sensor{ID: run.GPUFrequency, Unit: "hertz", Resolution: 1e6}
	if s.Source = filepath.Join(c.device, "pp_dpm_sclk"); exists(s.Source) {
		o := c.offer(s, limits{})
		o.Open = openActiveLevel(s.Source, c.guards)
		return []Offer{o}
	}
	megahertz := believedHertz.in(1e6, "a whole number of MHz")
	if s.Source = filepath.Join(c.dir, "gt_act_freq_mhz"); exists(s.Source) {
		return []Offer{c.offer(s, megahertz)}
	}
	units, _ := filepath.Glob(filepath.Join(c.device, "tile*", "gt*", "freq*", "act_freq"))
	var offers []Offer
	for i, path := range units {
		s.Source = path
		o := c.offer(s, megahertz)
		if i > 0 { // the first unit renders, others do video
			unit := filepath.Dir(filepath.Dir(path))
			o.Sensors[0].Instance += "/" + filepath.Base(filepath.Dir(unit)) + " " + filepath.Base(unit)
		}
		offers = append(offers, o)
	}
	return offers
}

// activeLevel reads a table of clock levels, "1: 991Mhz *", and gives the level
// that the star marks.
type activeLevel struct {
	file *sysFile
	gate *guarded // no inputs; holds the guards
}

const wantLevel = `a line such as "1: 991Mhz *"`

func openActiveLevel(path string, guards []guardedBy) func() (Probe, error) {
	return func() (Probe, error) {
		gate, err := openGuarded(guardedSource{inputs: []string{path}, guards: guards})()
		if err != nil {
			return nil, err
		}
		g := gate.(*guarded)
		return &activeLevel{file: g.inputs[0], gate: g}, nil
	}
}

func (p *activeLevel) Read(_ time.Duration, dst []float64) error {
	dst[0] = math.NaN()
	for i := range p.gate.guards {
		if err := p.gate.guards[i].check(); err != nil {
			return err
		}
	}
	text, err := p.file.text()
	if err != nil {
		return err
	}
	mhz, ok := starredMegahertz(text)
	if !ok {
		return p.file.refuse(text, wantLevel)
	}
	p.file.err = nil
	dst[0] = float64(mhz) * 1e6
	return nil
}

func (p *activeLevel) Close() error { return p.gate.Close() }

// starredMegahertz finds the marked level. The highest counts where a driver
// marks several: they are then levels between which it switches (common
// practice, no source). There is none where the clock lies between levels.
func starredMegahertz(table []byte) (mhz int64, ok bool) {
	for len(table) > 0 {
		var line []byte
		if i := bytes.IndexByte(table, '\n'); i >= 0 {
			line, table = table[:i], table[i+1:]
		} else {
			line, table = table, nil
		}
		line = bytes.TrimSpace(line)
		colon := bytes.IndexByte(line, ':')
		if colon < 0 || line[len(line)-1] != '*' {
			continue
		}
		if v, good := leadingMegahertz(bytes.TrimSpace(line[colon+1:])); good && (!ok || v > mhz) {
			mhz, ok = v, true
		}
	}
	return mhz, ok
}

// leadingMegahertz parses "991Mhz *".
func leadingMegahertz(text []byte) (int64, bool) {
	digits := 0
	for digits < len(text) && text[digits] >= '0' && text[digits] <= '9' {
		digits++
	}
	unit := text[digits:]
	if len(unit) < 3 || unit[0]|0x20 != 'm' || unit[1]|0x20 != 'h' || unit[2]|0x20 != 'z' {
		return 0, false
	}
	return parseInt(text[:digits])
}
