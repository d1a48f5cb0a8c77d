package analysis

import (
	"cmp"
	"math"
	"slices"
)

// Setting identifies the setting of a run, comparable with ==.
type Setting struct {
	CentiW int64  // watts in hundredths; 0 for a named setting
	Name   string // the name where the watts are unknown
}

// maxSettingW bounds the watts that can be told apart in hundredths.
const maxSettingW = 1e15

// settingOf gives the setting of a run; ok is false where the watts are given
// but are not finite and positive.
func settingOf(r *Run) (s Setting, ok bool) {
	if r.SettingW == nil {
		return Setting{Name: r.SettingName}, true
	}
	w := *r.SettingW
	if !(w >= 0.005) || w > maxSettingW {
		return Setting{}, false
	}
	return Setting{CentiW: int64(math.Round(w * 100))}, true
}

func (s Setting) named() bool { return s.CentiW == 0 }

// watts is NaN for a named setting.
func (s Setting) watts() float64 {
	if s.named() {
		return math.NaN()
	}
	return float64(s.CentiW) / 100
}

// setting identifies the cell's setting.
func (c Cell) setting() Setting {
	if math.IsNaN(c.SettingW) {
		return Setting{Name: c.Name}
	}
	return Setting{CentiW: int64(math.Round(c.SettingW * 100))}
}

// settingOrder is the order of power profiles from the least to the most power,
// as the kernel lists them (Documentation/ABI/testing/sysfs-platform_profile).
// Other names follow in the order of the alphabet.
var settingOrder = []string{"low-power", "cool", "quiet", "balanced", "balanced-performance", "performance"}

func compareSettings(a, b Setting) int {
	if a.named() != b.named() {
		if a.named() {
			return 1
		}
		return -1
	}
	return cmp.Or(cmp.Compare(a.CentiW, b.CentiW), cmp.Compare(nameRank(a.Name), nameRank(b.Name)), cmp.Compare(a.Name, b.Name))
}

func nameRank(name string) int {
	if i := slices.Index(settingOrder, name); i >= 0 {
		return i
	}
	return len(settingOrder)
}

// positions places sorted settings on the axis: ln watts, or 1, 2, ... if any
// of them has only a name.
func positions(settings []Setting) []float64 {
	x := make([]float64, len(settings))
	byName := slices.ContainsFunc(settings, Setting.named)
	for j, s := range settings {
		if byName {
			x[j] = float64(j + 1)
		} else {
			x[j] = math.Log(s.watts())
		}
	}
	return x
}
