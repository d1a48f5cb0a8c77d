package report

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// findingDisobeyed is the code of the finding that the measured power was not that
// of the setting.
const findingDisobeyed = "setting_disobeyed"

// unkept is a setting that a device did not keep to, in how many of the cells that
// were run at it, and the watts that it drew there.
type unkept struct {
	setting     string
	order       float64
	cells, all  int
	least, most float64
}

// whatWasNotKept says once for each device which settings it did not keep to: there
// equal settings are not equal power. A cell did not keep to its setting where most
// of its runs did not.
func (b *builder) whatWasNotKept() Section {
	s := Section{Title: "Which settings were not kept"}
	devices := map[string]map[string]*unkept{}
	for k, runs := range b.cells {
		name := b.cast.name(k.device, k.variant)
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
			s.Sentences = append(s.Sentences, Said{name, sentence.Sentence{Tone: sentence.Doubtful,
				Text: sentence.Capital(listed(places, len(places))) + ": equal settings are not equal power there."}})
		}
	}
	return s
}

// add counts a cell.
func (u *unkept) add(runs []*analysis.Run) {
	u.all++
	disobeyed, sum, known := 0, 0.0, 0
	for _, r := range runs {
		if r.SettingW != nil {
			u.order = *r.SettingW
		}
		if !slices.Contains(r.Findings, findingDisobeyed) {
			continue
		}
		disobeyed++
		if w, ok := analysis.PackagePower(r); ok {
			sum += w
			known++
		}
	}
	if 2*disobeyed <= len(runs) {
		return
	}
	u.cells++
	if known > 0 {
		u.least, u.most = min(u.least, sum/float64(known)), max(u.most, sum/float64(known))
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
