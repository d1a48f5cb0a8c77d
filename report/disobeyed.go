package report

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// disobeyed is a setting that a device did not follow, or a stretch of them, in how many of
// the cells that were run at it, and the watts that it drew there.
type disobeyed struct {
	setting, to string  // to is empty for one setting
	watts       float64 // set; infinite where the setting has a name only
	cells, all  int
	least, most float64
}

// notFollowed says once for each device which settings it did not follow: there equal
// settings are not equal power.
func (b *builder) notFollowed() Section {
	type place struct{ device, setting string }
	found := map[place]*disobeyed{}
	outside := b.outsideRange()
	for k, runs := range b.cells {
		at := place{b.legend.name(k.device, k.variant), k.setting}
		if found[at] == nil {
			found[at] = &disobeyed{setting: k.setting, watts: math.Inf(1), least: math.Inf(1), most: math.Inf(-1)}
		}
		drew, isOutside := outside[k]
		found[at].add(runs, drew, isOutside)
	}
	inOrder := map[string][]*disobeyed{}
	for _, at := range slices.SortedFunc(maps.Keys(found), func(x, y place) int {
		return cmp.Or(cmp.Compare(found[x].watts, found[y].watts), cmp.Compare(x.setting, y.setting))
	}) {
		inOrder[at.device] = append(inOrder[at.device], found[at])
	}
	byDevice := map[string][]string{}
	for device, list := range inOrder {
		for _, d := range stretches(list) {
			byDevice[device] = append(byDevice[device], d.words())
		}
	}
	disobeyed := doubts(byDevice, func(places []string) string {
		return sentence.Capital(sentence.Listed(places, len(places))) + ": equal settings are not equal power there."
	})
	return Section{Title: "Which settings were not kept", Sentences: append(disobeyed, b.misdeclared()...)}
}

// misdeclared names the runs that count at the setting that was declared although
// the system reported another one.
func (b *builder) misdeclared() []Statement {
	byDevice := map[string][]string{}
	for i := range b.in.Runs {
		r := &b.in.Runs[i]
		if read := reportedSetting(r); read != "" && r.State == run.Finished {
			name := b.legend.name(r.Device, string(r.Variant))
			byDevice[name] = append(byDevice[name], fmt.Sprintf("a run at %s, where the system reported %s", sentence.SettingOf(r.Setting.Setting), read))
		}
	}
	return doubts(byDevice, func(runs []string) string {
		return "Counted at the declared setting: " + strings.Join(runs, "; ") + "."
	})
}

// doubts are doubtful sentences on devices, in the order of their names.
func doubts(byDevice map[string][]string, words func([]string) string) []Statement {
	var list []Statement
	for _, name := range slices.Sorted(maps.Keys(byDevice)) {
		list = append(list, Statement{About: name, Sentence: sentence.Sentence{Tone: sentence.Doubtful, Text: words(byDevice[name])}})
	}
	return list
}

// outsideRange are the cells whose setting lies outside the range that the device follows,
// by its package watts, with those that it drew.
func (b *builder) outsideRange() map[cellKey]analysis.Number {
	cells := map[cellKey]analysis.Number{}
	for i := range b.study.Topics {
		for _, g := range b.study.Topics[i].Curve.Groups {
			for _, p := range g.Points {
				if g.Effective.Source == analysis.RangeFromPackage && (p.SettingW < g.Effective.FromW || p.SettingW > g.Effective.ToW) {
					cells[cellAt(&g, p.SettingW, p.Setting)] = p.PackageW
				}
			}
		}
	}
	return cells
}

// stretches joins neighbouring settings that a device did not follow, and leaves the others
// out. list is all its settings in their order.
func stretches(list []*disobeyed) []disobeyed {
	var out []disobeyed
	for i, d := range list {
		switch {
		case d.cells == 0:
		case i > 0 && list[i-1].cells > 0 && !math.IsInf(d.watts, 1):
			last := &out[len(out)-1]
			last.to = d.setting
			last.cells, last.all = last.cells+d.cells, last.all+d.all
			last.least, last.most = min(last.least, d.least), max(last.most, d.most)
		default:
			out = append(out, *d)
		}
	}
	return out
}

// add counts a cell. drew are the watts that the device drew there if the setting is
// outside the range that it follows.
func (d *disobeyed) add(runs []*run.Run, drew analysis.Number, outside bool) {
	d.all++
	if w, ok := runs[0].Setting.Watts(); ok {
		d.watts = w
	}
	if found, disobeys := analysis.DisobeyedPower(runs); disobeys {
		drew = found
	} else if !outside {
		return
	}
	d.cells++
	if drew.Known() {
		d.least, d.most = min(d.least, float64(drew)), max(d.most, float64(drew))
	}
}

func (d *disobeyed) words() string {
	text := sentence.Range(d.setting, cmp.Or(d.to, d.setting))
	if d.least <= d.most {
		from, to := sentence.Significant(d.least), sentence.Significant(d.most)
		if from != to {
			from += " to " + to
		}
		text += " it drew " + from + " W"
	}
	if d.cells < d.all {
		text += ", though not everywhere"
	}
	return text
}
