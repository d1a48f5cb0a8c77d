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

// unkept is a setting that a device did not keep to, in how many of the cells that
// were run at it, and the watts that it drew there.
type unkept struct {
	setting     string
	order       float64
	cells, all  int
	least, most float64
}

// whatWasNotKept says once for each device which settings it did not keep to: there
// equal settings are not equal power.
func (b *builder) whatWasNotKept() Section {
	s := Section{Title: "Which settings were not kept"}
	devices := map[string]map[string]*unkept{}
	for k, runs := range b.cells {
		name := b.legend.name(k.device, k.variant)
		if devices[name] == nil {
			devices[name] = map[string]*unkept{}
		}
		u := devices[name][k.setting]
		if u == nil {
			u = &unkept{setting: k.setting, order: math.Inf(1), least: math.Inf(1), most: math.Inf(-1)}
			devices[name][k.setting] = u
		}
		u.add(runs)
	}
	for _, name := range slices.Sorted(maps.Keys(devices)) {
		var places []string
		for _, u := range slices.SortedFunc(maps.Values(devices[name]), func(x, y *unkept) int {
			return cmp.Or(cmp.Compare(x.order, y.order), cmp.Compare(x.setting, y.setting))
		}) {
			if u.cells > 0 {
				places = append(places, u.words())
			}
		}
		if len(places) > 0 {
			s.Sentences = append(s.Sentences, Statement{name, sentence.Sentence{Tone: sentence.Doubtful,
				Text: sentence.Capital(sentence.Listed(places, len(places))) + ": equal settings are not equal power there."}})
		}
	}
	s.Sentences = append(s.Sentences, b.misdeclared()...)
	return s
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
	var list []Statement
	for _, name := range slices.Sorted(maps.Keys(byDevice)) {
		list = append(list, Statement{name, sentence.Sentence{Tone: sentence.Doubtful, Text: "Counted at the declared setting: " + strings.Join(byDevice[name], "; ") + "."}})
	}
	return list
}

// add counts a cell.
func (u *unkept) add(runs []*run.Run) {
	u.all++
	if w, ok := runs[0].Setting.Watts(); ok {
		u.order = w
	}
	drew, disobeyed := analysis.DisobeyedPower(runs)
	if !disobeyed {
		return
	}
	u.cells++
	if drew.Known() {
		u.least, u.most = min(u.least, float64(drew)), max(u.most, float64(drew))
	}
}

func (u *unkept) words() string {
	text := "at " + u.setting
	if u.least <= u.most {
		from, to := sentence.Significant(u.least), sentence.Significant(u.most)
		if from != to {
			from += " to " + to
		}
		text += " it drew " + from + " W"
	}
	if u.cells < u.all {
		text += ", though not everywhere"
	}
	return text
}
