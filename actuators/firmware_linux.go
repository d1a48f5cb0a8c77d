package actuators

import (
	"cmp"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
)

// firmware sets the package power limits that firmware shows in
// class/firmware-attributes/*/attributes/ppt_*/current_value
// (Documentation/ABI/testing/sysfs-class-firmware-attributes): those of type integer
// whose name says that they are sustained (spl), slow (sppt) or fast (fppt) limits, and
// whose limits can only be whole watts. They are set together, to the same watts, because
// the least of them is what holds: sustained <= slow <= fast at every moment.
type firmware struct{ tree tree }

// NewFirmware sets the firmware's power limits below sysfs; "" means /sys.
func NewFirmware(sys string) Actuator { return firmware{tree(sys)} }

func (firmware) Name() string { return "firmware" }
func (firmware) Sets() string { return SetsSetting }

// limitName fits the names of limits in watts, as drivers of the kernel have them (their
// documents; from memory): ppt_pl1_spl, ppt_pl2_sppt, ppt_pl3_fppt, ppt_apu_sppt. Limits
// with more behind the name are times, or hold in one state only; those of the platform
// are for more than the processor, and are left alone.
var limitName = regexp.MustCompile(`^ppt_(pl[123]|apu)_(spl|sppt|fppt)$`)

// limitRank is the order in which limits must not exceed one another.
var limitRank = map[string]int{"spl": 0, "sppt": 1, "fppt": 2}

// mostFirmwareWatts is more than any portable computer's limit: numbers above it are in
// another unit. Common practice, no source.
const mostFirmwareWatts = 1000

// limits are the levels of one driver, the sustained one first, or why there are none.
func (f firmware) limits() (levels []*level, missing string) {
	class := f.tree.path("class", "firmware-attributes")
	for _, driver := range folders(class) {
		type found struct {
			rank int
			l    *level
		}
		var list []found
		for _, name := range folders(filepath.Join(class, driver, "attributes")) {
			m := limitName.FindStringSubmatch(name)
			dir := filepath.Join(class, driver, "attributes", name)
			if m == nil || !exists(filepath.Join(dir, "current_value")) {
				continue
			}
			l := &level{actuator: f.Name(), path: filepath.Join(dir, "current_value"), scale: 1,
				least: watts(filepath.Join(dir, "min_value"), 1), most: watts(filepath.Join(dir, "max_value"), 1), step: watts(filepath.Join(dir, "scalar_increment"), 1)}
			if why := notInWatts(dir, l); why != "" {
				missing = cmp.Or(missing, why)
				continue
			}
			list = append(list, found{limitRank[m[2]], l})
		}
		slices.SortStableFunc(list, func(a, b found) int { return a.rank - b.rank })
		if len(list) > 0 && list[0].rank == 0 {
			for _, x := range list {
				levels = append(levels, x.l)
			}
			return levels, ""
		}
		if len(list) > 0 {
			missing = cmp.Or(missing, filepath.Join(class, driver)+" shows no sustained limit, which the others stand above")
		}
	}
	return nil, cmp.Or(missing, "the firmware shows no power limit in "+filepath.Join(class, "*", "attributes"))
}

// notInWatts says why an attribute is not taken for a limit in watts, "" where it is.
func notInWatts(dir string, l *level) string {
	switch kind := textOr(filepath.Join(dir, "type")); {
	case kind != "integer":
		return fmt.Sprintf("%s is of type %q, not integer", dir, kind)
	case l.least == nil || l.most == nil:
		return dir + " states no min_value and max_value, and nothing is set beyond what the firmware states"
	case *l.least < 0 || *l.most <= 0 || *l.least > *l.most || *l.most > mostFirmwareWatts:
		return fmt.Sprintf("%s goes from %s to %s, which cannot be watts", dir, plain(*l.least), plain(*l.most))
	}
	return ""
}

func (f firmware) Offer() Offer {
	o := newOffer(f)
	levels, missing := f.limits()
	o.Missing = missing
	offerLevels(&o, levels)
	if o.Missing == "" {
		f.passwords(&o)
	}
	return o
}

// passwords: with a password set, firmware takes no attribute without it.
func (f firmware) passwords(o *Offer) {
	driver := filepath.Dir(filepath.Dir(filepath.Dir(o.Sources[0])))
	for _, role := range folders(filepath.Join(driver, "authentication")) {
		if path := filepath.Join(driver, "authentication", role, "is_enabled"); textOr(path) == "1" {
			o.Writable, o.Needs = false, "the firmware asks for a password ("+path+"): take it off in the firmware's menu"
		}
	}
}

func (f firmware) Writes(v Value, within Limits) ([]Write, error) {
	w, err := checkWatts(v, within)
	if err != nil {
		return nil, err
	}
	levels, missing := f.limits()
	if missing != "" {
		return nil, fmt.Errorf("%s", missing)
	}
	return setReadLevels(levels, w, within)
}

func (f firmware) places() (list []string) {
	levels, _ := f.limits()
	for _, l := range levels {
		list = append(list, l.path)
	}
	return list
}

func (f firmware) confirm(w Write) error {
	levels, _ := f.limits()
	return confirm(levels, w)
}
