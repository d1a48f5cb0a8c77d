package collectors

import (
	"errors"
	"io/fs"
	"math"
	"path/filepath"
	"slices"
	"time"
)

// powerSupply finds class/power_supply, after the kernel's
// Documentation/ABI/testing/sysfs-class-power: batteries (everything of the
// type Battery) and what feeds the machine (every other type that
// says whether it is online: Mains, USB in all its spellings, Wireless, UPS,
// BrickID; the kernel itself takes all of these for supplies). What has the
// scope Device belongs to a peripheral and is left out.
type powerSupply struct{ roots Roots }

// NewPowerSupply finds batteries and supplies.
func NewPowerSupply(roots Roots) Collector { return powerSupply{roots} }

func (powerSupply) Name() string { return "power_supply" }

func (c powerSupply) Scan() (offers []Offer, absences []Absence) {
	class := c.roots.sys("class", "power_supply")
	batteries, supplies := 0, 0
	for _, s := range c.roots.powerSupplies() {
		if s.battery {
			if o, ok := offerBattery(s.dir, s.name); ok {
				offers = append(offers, o)
				batteries++
			}
		} else if exists(s.dir, "online") {
			offers = append(offers, offerSupply(s.dir, s.name))
			supplies++
		}
	}
	if batteries == 0 {
		absences = append(absences, Absence{Collector: c.Name(), Source: filepath.Join(class, "*", "energy_now"), Why: "no battery of this machine"})
	}
	if supplies == 0 {
		absences = append(absences, Absence{Collector: c.Name(), Source: filepath.Join(class, "*", "online"), Why: "no mains or USB supply"})
	}
	return offers, absences
}

// supplyFolder is a folder of class/power_supply.
type supplyFolder struct {
	dir, name string
	battery   bool
}

// powerSupplies lists what feeds the machine, not a peripheral, in the order of
// the names.
func (r Roots) powerSupplies() []supplyFolder {
	class := r.sys("class", "power_supply")
	names := folderNames(class)
	slices.Sort(names)
	var found []supplyFolder
	for _, name := range names {
		dir := filepath.Join(class, name)
		if kind := staticText(dir, "type"); kind != "" && staticText(dir, "scope") != "Device" {
			found = append(found, supplyFolder{dir: dir, name: name, battery: kind == "Battery"})
		}
	}
	return found
}

// What the files of a supply say. The marks for "unknown" of some drivers (all bits
// set, times the unit) lie beyond the bounds.
var (
	microvolts   = bound{1e-6, believedVolts.high, "0 (exclusive) to 100 V"}.in(1e-6, "an integer (microvolts)")
	microamperes = believedAmperes.in(1e-6, "an integer (microamperes)")
	microwatts   = believedWatts.in(1e-6, "an integer (microwatts)")
	// microwattHours as joules and microampereHours as coulombs: times 3600/1e6.
	microwattHours   = bound{0, believedJoules.high, "0 to 1 kWh"}.in(3600e-6, "an integer (microwatt hours)")
	microampereHours = believedCoulombs.in(3600e-6, "an integer (microampere hours)")
	percentage       = believedRatio.in(1e-2, "an integer (percent)")
	deciCelsius      = believedCelsius.in(1e-1, "an integer (tenths of a degree Celsius)")
	yesNo            = limits{scale: 1, low: 0, high: 255, want: "0, or a number above 0 for yes"}
)

// property is a file of a supply that is read if it is there.
type property struct {
	file *sysFile
	err  error // of opening; nil where there simply is no such file
	limits
}

// properties are the files that a probe reads, of one supply most often.
type properties struct {
	dir  string // of the file that was opened last
	open []*property
}

// property opens a file of the folder dir.
func (p *properties) property(name string, l limits) *property {
	return p.add(filepath.Join(p.dir, name), l)
}

func (p *properties) add(path string, l limits) *property {
	p.dir = filepath.Dir(path)
	prop := &property{limits: l}
	f, err := openSysFile(path)
	switch {
	case err == nil:
		prop.file = f
	case !errors.Is(err, fs.ErrNotExist):
		prop.err = err
	}
	p.open = append(p.open, prop)
	return prop
}

// ready is an error where no file at all could be opened.
func (p *properties) ready() error {
	for _, prop := range p.open {
		if prop.file != nil {
			return nil
		}
	}
	for _, prop := range p.open {
		if prop.err != nil {
			return prop.err
		}
	}
	return &fs.PathError{Op: "open", Path: p.dir, Err: fs.ErrNotExist}
}

func (p *properties) Close() error {
	var errs []error
	for _, prop := range p.open {
		if prop.file != nil {
			errs = append(errs, prop.file.Close())
		}
	}
	return errors.Join(errs...)
}

// value reads a number in SI units, NaN where there is no such file or where
// reading fails; the failure is added to failed.
func (p *property) value(failed *causes) float64 {
	err := p.err
	if p.file != nil {
		var v int64
		if v, err = p.limits.read(p.file); err == nil {
			return p.inUnit(float64(v))
		}
	}
	failed.add(err)
	return math.NaN()
}

// text reads the text; ok is false where value would give NaN.
func (p *property) text(failed *causes) (text []byte, ok bool) {
	err := p.err
	if p.file != nil {
		if text, err = p.file.text(); err == nil {
			return text, true
		}
	}
	failed.add(err)
	return nil, false
}

// indexIn is the place of a word in a list. Where the list lacks it, the file's
// text is refused as not what is wanted.
func (p *property) indexIn(list []string, word, text []byte, want string, failed *causes) float64 {
	if i := slices.IndexFunc(list, func(s string) bool { return s == string(word) }); i >= 0 {
		p.file.err = nil
		return float64(i)
	}
	failed.add(p.file.refuse(text, want))
	return math.NaN()
}

// firstOf is a probe that reads one quantity from the first of several files
// that has it.
type firstOf struct {
	properties
	read   func(p *property, failed *causes) float64 // NaN where the file does not have it
	failed causes
}

func openFirstOf(paths []string, l limits, read func(p *property, failed *causes) float64) (Probe, error) {
	p := &firstOf{read: read}
	for _, path := range paths {
		p.add(path, l)
	}
	if err := p.ready(); err != nil {
		return nil, err
	}
	return p, nil
}

func (p *firstOf) Read(_ time.Duration, dst []float64) error {
	p.failed.list = p.failed.list[:0]
	for _, file := range p.open {
		if v := p.read(file, &p.failed); v == v {
			dst[0] = v
			return nil
		}
	}
	dst[0] = math.NaN()
	return p.failed.err()
}
