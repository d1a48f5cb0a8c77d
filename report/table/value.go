package table

import (
	"fmt"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Value is what the dearer of two devices buys at each setting.
func Value(currency string, v *analysis.DeviceValue) *Table {
	t := &Table{
		Caption: fmt.Sprintf("%s: price and result of %s (a) against %s (b = 100 %%), %s", sentence.Group(v.Workload, v.Supply, v.Variant), v.A, v.B, sentence.MetricWords(v.Metric, v.Unit)),
		Columns: []Column{
			{Head: "W", Right: true, Least: 6}, {Head: "a/b %", Right: true}, {Head: lowerHead(v.Confidence), Right: true}, {Head: upperHead, Right: true},
			{Head: strings.TrimSpace("% per 100 " + currency), Right: true}, {Head: "a for its price %", Right: true}, {Head: "more than noise"},
		},
	}
	places := 1
	for _, x := range v.Settings {
		places = max(places, sentence.PercentPlaces(x.DiffLower, x.DiffUpper))
	}
	each := decimals(v.Settings, 2, func(x *analysis.ValuePoint) (value, lower, upper analysis.Number) {
		return x.DiffPer100, x.DiffPer100Lower, x.DiffPer100Upper
	})
	for _, x := range v.Settings {
		if x.Diff.Known() {
			t.Row(setting(x.SettingW, x.Setting), percent(x.Diff, places), percent(x.DiffLower, places), percent(x.DiffUpper, places),
				percent(x.DiffPer100/100, each), percent(x.ForPrice, places), beyondNoise(x.Significant))
		}
	}
	if o := v.Overall; o != nil && len(v.Settings) > 1 {
		t.Row(Text("mean"), percent(o.Diff, places), percent(o.DiffLower, places), percent(o.DiffUpper, places), percent(o.DiffPer100/100, each), percent(o.ForPrice, places), beyondNoise(o.Significant))
	}
	return t
}
