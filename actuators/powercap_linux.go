package actuators

import (
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// powercap sets the long-term and the short-term constraint of the package zones of
// class/powercap (Documentation/power/powercap/powercap.rst), in microwatts, to the same
// watts: the long-term one never lies above the other. Where several control types limit
// the same package the least holds, so all are set that are enabled; several packages
// share the watts evenly.
type powercap struct{ tree tree }

// NewPowercap sets powercap constraints below sysfs; "" means /sys.
func NewPowercap(sys string) Actuator { return powercap{tree(sys)} }

func (powercap) Name() string { return "powercap" }
func (powercap) Sets() string { return SetsSetting }

// powerUnit is the usual unit of the register behind a constraint, W: what is written is
// rounded to it (from memory of the register's description).
const powerUnit = 0.125

// zones are the levels of each zone of a package, the long-term one first, and how many
// packages there are, or why there are none.
func (p powercap) zones() (zones [][]*level, packages int, missing string) {
	class := p.tree.path("class", "powercap")
	seen := map[string]bool{}
	for _, folder := range folders(class) {
		dir := filepath.Join(class, folder)
		name := textOr(filepath.Join(dir, "name"))
		if strings.Count(folder, ":") != 1 || !strings.HasPrefix(name, "package") {
			continue // a control type, a zone within a package, or one of another kind
		}
		if textOr(filepath.Join(dir, "enabled")) == "0" {
			missing = cmp.Or(missing, dir+" is not enabled, so its limits do not hold")
			continue
		}
		byName := map[string]*level{}
		for _, file := range folders(dir) {
			prefix, ok := strings.CutSuffix(file, "_name")
			limit := filepath.Join(dir, prefix+"_power_limit_uw")
			if !ok || !exists(limit) {
				continue
			}
			byName[textOr(filepath.Join(dir, file))] = &level{actuator: p.Name(), path: limit, scale: 1e-6, leeway: powerUnit,
				least: stated(filepath.Join(dir, prefix+"_min_power_uw")), most: stated(filepath.Join(dir, prefix+"_max_power_uw"))}
		}
		if byName["long_term"] == nil {
			missing = cmp.Or(missing, dir+" has no long-term limit")
			continue
		}
		levels := []*level{byName["long_term"]}
		if l := byName["short_term"]; l != nil {
			levels = append(levels, l)
		}
		if !seen[name] {
			seen[name], packages = true, packages+1
		}
		zones = append(zones, levels)
	}
	if len(zones) > 0 {
		return zones, packages, ""
	}
	return nil, 0, cmp.Or(missing, "no package has a power limit in "+filepath.Join(class, "*", "constraint_*_power_limit_uw"))
}

// stated is a limit that a driver states, W; 0 means that it states none.
func stated(path string) *float64 {
	if v := watts(path, 1e-6); v != nil && *v > 0 {
		return v
	}
	return nil
}

func (p powercap) Offer() Offer {
	o := newOffer(p)
	zones, packages, missing := p.zones()
	o.Missing = missing
	var all []*level
	for _, levels := range zones {
		all = append(all, levels...)
	}
	offerLevels(&o, all)
	// What is stated is of one package; the setting is that of all.
	for _, limit := range []**float64{&o.Min, &o.Max} {
		if *limit != nil {
			v := **limit * float64(packages)
			*limit = &v
		}
	}
	if missing == "" && o.Missing == "" {
		sum, seen := 0.0, map[string]float64{}
		for _, levels := range zones {
			name := textOr(filepath.Join(filepath.Dir(levels[0].path), "name"))
			if old, ok := seen[name]; !ok || levels[0].now < old {
				seen[name] = levels[0].now
			}
		}
		for _, w := range seen {
			sum += w
		}
		o.Now = plain(sum) + "W"
	}
	return o
}

func (p powercap) Writes(v Value, within Limits) ([]Write, error) {
	w, err := checkWatts(v, within)
	if err != nil {
		return nil, err
	}
	zones, packages, missing := p.zones()
	if missing != "" {
		return nil, errors.New(missing)
	}
	if within.StepUp != nil { // it is of the setting, too
		step := *within.StepUp / float64(packages)
		within.StepUp = &step
	}
	var writes []Write
	for _, levels := range zones {
		list, err := setReadLevels(levels, w/float64(packages), within)
		if err != nil {
			return nil, err
		}
		writes = append(writes, list...)
	}
	return writes, nil
}

// setReadLevels is setLevels for levels that were not read yet.
func setReadLevels(levels []*level, w float64, within Limits) ([]Write, error) {
	for _, l := range levels {
		if err := l.read(); err != nil {
			return nil, fmt.Errorf("what is set now cannot be read: %w", err)
		}
	}
	return setLevels(levels, w, within)
}

func (p powercap) places() (list []string) {
	zones, _, _ := p.zones()
	for _, levels := range zones {
		for _, l := range levels {
			list = append(list, l.path)
		}
	}
	return list
}

func (p powercap) confirm(w Write) error {
	zones, _, _ := p.zones()
	return confirm(slices.Concat(zones...), w)
}
