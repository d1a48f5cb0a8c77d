package text

import (
	"io"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Value writes what the dearer of two devices buys: its gain at each setting, for
// each 100 of the price difference, and the result for the price.
func Value(w io.Writer, r analysis.ValueResult, o Options) error {
	p := &page{w: w, o: o}
	for i := range r.Values {
		v := &r.Values[i]
		if i > 0 {
			p.gap()
		}
		p.say("%s: what %s buys over %s, by %s", sentence.Group(v.Workload, v.Supply, v.Variant), v.Dearer, v.Cheaper, v.Metric)
		p.table(valueTable(r.Currency, v))
		p.sentences(sentence.Value(r.Currency, v))
	}
	p.notes("note", r.Notes)
	return p.err
}

func valueTable(currency string, v *analysis.DeviceValue) *Table {
	t := &Table{Columns: []Column{
		{Head: "W", Right: true, Least: 6}, {Head: "gain %", Right: true}, {Head: Fixed(100*v.Confidence, 0) + " % from", Right: true}, {Head: "to", Right: true},
		{Head: strings.TrimSpace("% per 100 " + currency), Right: true}, {Head: "result per price %", Right: true}, {Head: "more than noise"},
	}}
	var each, halves []float64
	places := 1
	for _, x := range v.Settings {
		each = append(each, float64(x.PercentPer100))
		halves = append(halves, halfWidth(x.PercentPer100Lower, x.PercentPer100Upper))
		places = max(places, sentence.PercentPlaces(x.Lower, x.Upper))
	}
	eachPlaces := columnDecimals(each, halves, 2)
	for _, x := range v.Settings {
		if !x.Gain.Known() {
			continue
		}
		told, tone := "yes", Good
		if !x.Told {
			told, tone = "no", Doubtful
		}
		t.Row(settingCell(x.SettingW, x.Setting), Cell{Text: SignedPercent(float64(x.Gain), places)},
			Cell{Text: SignedPercent(float64(x.Lower), places)}, Cell{Text: SignedPercent(float64(x.Upper), places)},
			Cell{Text: SignedPercent(float64(x.PercentPer100)/100, eachPlaces)}, Cell{Text: SignedPercent(float64(x.PerPrice), places)}, Cell{Text: told, Tone: tone})
	}
	return t
}
