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

// disobeyed is a setting that a device did not follow, in how many of the cells that
// were run at it, and the watts that it drew there.
type disobeyed struct {
	setting     string
	watts       float64 // set; infinite where the setting has a name only
	cells, all  int
	least, most float64
}

// notFollowed says once for each device which settings it did not follow: there equal
// settings are not equal power.
func (b *builder) notFollowed() Section {
	type place struct{ device, setting string }
	found := map[place]*disobeyed{}
	for k, runs := range b.cells {
		at := place{b.legend.name(k.device, k.variant), k.setting}
		if found[at] == nil {
			found[at] = &disobeyed{setting: k.setting, watts: math.Inf(1), least: math.Inf(1), most: math.Inf(-1)}
		}
		found[at].add(runs)
	}
	byDevice := map[string][]string{}
	for _, at := range slices.SortedFunc(maps.Keys(found), func(x, y place) int {
		return cmp.Or(cmp.Compare(found[x].watts, found[y].watts), cmp.Compare(x.setting, y.setting))
	}) {
		if found[at].cells > 0 {
			byDevice[at.device] = append(byDevice[at.device], found[at].words())
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
			byDevice[name] = append(byDevice[name], fmt.Sprintf("%s at %s, where the system reported %s", run.ShortID(r.ID), settingText(r.Setting.Setting), read))
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
		list = append(list, Statement{name, sentence.Sentence{Tone: sentence.Doubtful, Text: words(byDevice[name])}})
	}
	return list
}

// add counts a cell.
func (d *disobeyed) add(runs []*run.Run) {
	d.all++
	if w, ok := runs[0].Setting.Watts(); ok {
		d.watts = w
	}
	drew, disobeys := analysis.DisobeyedPower(runs)
	if !disobeys {
		return
	}
	d.cells++
	if drew.Known() {
		d.least, d.most = min(d.least, float64(drew)), max(d.most, float64(drew))
	}
}

func (d *disobeyed) words() string {
	text := "at " + d.setting
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
