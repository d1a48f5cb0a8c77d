package actuators

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"
)

// gpu sets the power limit of the graphics processor, power1_cap in microwatts within
// power1_cap_min and power1_cap_max, beside the card's other sensors
// (Documentation/ABI/testing/sysfs-class-hwmon). Of several cards it is the one that shares the
// package with the processor, else the first on its bus, the same whose limit is read as
// the setting. Drivers take whole watts alone (their source, from memory).
type gpu struct{ tree tree }

// NewGPU sets the power limit of the graphics processor below sysfs; "" means /sys.
func NewGPU(sys string) Actuator { return gpu{tree(sys)} }

func (gpu) Name() string { return "gpu" }
func (gpu) Sets() string { return SetsSetting }

// limit is the card's level, or why there is none.
func (g gpu) limit() (*level, string) {
	class := g.tree.path("class", "drm")
	type card struct {
		dir    string // of its sensors
		shares bool   // the package with the processor: its chip has the northbridge's voltage
	}
	var cards []card
	for _, number := range numbered(class, "card") {
		sensors := filepath.Join(class, number, "device", "hwmon")
		for _, chip := range numbered(sensors, "hwmon") {
			if path := filepath.Join(sensors, chip, "power1_cap"); exists(path) {
				at := filepath.Dir(atDevice(path))
				cards = append(cards, card{at, exists(filepath.Join(at, "in1_input"))})
				break
			}
		}
	}
	if len(cards) == 0 {
		return nil, "no graphics processor has a power limit in " + filepath.Join(class, "card*", "device", "hwmon", "hwmon*", "power1_cap")
	}
	slices.SortStableFunc(cards, func(a, b card) int {
		if a.shares != b.shares {
			if a.shares {
				return -1
			}
			return 1
		}
		return strings.Compare(a.dir, b.dir)
	})
	dir, one := cards[0].dir, 1.0
	return &level{actuator: g.Name(), path: filepath.Join(dir, "power1_cap"), scale: 1e-6, step: &one,
		least: watts(filepath.Join(dir, "power1_cap_min"), 1e-6), most: stated(filepath.Join(dir, "power1_cap_max"))}, ""
}

func (g gpu) Offer() Offer {
	o := newOffer(g)
	l, missing := g.limit()
	if o.Missing = missing; missing != "" {
		o.Unit = "W"
		return o
	}
	offerLevels(&o, []*level{l})
	return o
}

func (g gpu) Writes(v Value, within Limits) ([]Write, error) {
	w, err := checkWatts(v, within)
	if err != nil {
		return nil, err
	}
	l, missing := g.limit()
	if missing != "" {
		return nil, errors.New(missing)
	}
	if l.most == nil {
		return nil, errors.New(l.path + ": its driver states no power1_cap_max, and nothing is set beyond what a driver states")
	}
	return setReadLevels([]*level{l}, w, within)
}

func (g gpu) places() []string {
	if l, missing := g.limit(); missing == "" {
		return []string{l.path}
	}
	return nil
}

func (g gpu) confirm(w Write) error {
	l, missing := g.limit()
	if missing != "" {
		return errors.New(missing)
	}
	return confirm([]*level{l}, w)
}
