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
		Caption: fmt.Sprintf("%s: what %s buys over %s, by %s", sentence.Group(v.Workload, v.Supply, v.Variant), v.Dearer, v.Cheaper, v.Metric),
		Columns: []Column{
			{Head: "W", Right: true, Least: 6}, {Head: "gain %", Right: true}, {Head: lowerHead(v.Confidence), Right: true}, {Head: upperHead, Right: true},
			{Head: strings.TrimSpace("% per 100 " + currency), Right: true}, {Head: "result per price %", Right: true}, {Head: "more than noise"},
		},
	}
	places := 1
	for _, x := range v.Settings {
		places = max(places, sentence.PercentPlaces(x.Lower, x.Upper))
	}
	each := decimals(v.Settings, 2, func(x *analysis.ValuePoint) (value, lower, upper analysis.Number) {
		return x.PercentPer100, x.PercentPer100Lower, x.PercentPer100Upper
	})
	for _, x := range v.Settings {
		if x.Gain.Known() {
			t.Row(setting(x.SettingW, x.Setting), percent(x.Gain, places), percent(x.Lower, places), percent(x.Upper, places),
				percent(x.PercentPer100/100, each), percent(x.PerPrice, places), beyondNoise(x.Significant))
		}
	}
	return t
}
