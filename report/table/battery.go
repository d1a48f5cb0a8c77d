package table

import (
	"cmp"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Battery is what a workload draws on battery and how long the battery lasts.
func Battery(r *analysis.BatteryResult, g *analysis.BatteryGroup) *Table {
	lower := lowerHead(r.Confidence)
	t := &Table{
		Caption: sentence.BatteryTitle(r, g),
		Columns: []Column{
			{Head: "W", PageHead: "setting", Right: true, Least: 6}, {Head: "runs", Right: true},
			{Head: "system W", PageHead: "whole device W", Right: true, Optional: Page}, {Head: lower, Right: true, Optional: Page}, {Head: upperHead, Right: true, Optional: Page},
			{Head: "runtime h", Right: true, Optional: Page}, {Head: lower, Right: true, Optional: Page}, {Head: upperHead, Right: true, Optional: Page},
		},
	}
	w := decimals(g.Points, 2, func(x *analysis.BatteryPoint) (v, lower, upper analysis.Number) { return x.SystemW, x.Lower, x.Upper })
	h := decimals(g.Points, 2, func(x *analysis.BatteryPoint) (v, lower, upper analysis.Number) {
		return x.RuntimeH, x.RuntimeLowerH, x.RuntimeUpperH
	})
	for _, x := range g.Points {
		t.Row(setting(x.SettingW, x.Setting), Count(x.N), Number(x.SystemW, w), Number(x.Lower, w), Number(x.Upper, w),
			Number(x.RuntimeH, h), Number(x.RuntimeLowerH, h), Number(x.RuntimeUpperH, h))
	}
	return t
}

// Gains is by how many minutes the group lasts longer than other variants. It follows
// the table of its group.
func Gains(r *analysis.BatteryResult, g *analysis.BatteryGroup) *Table {
	t := &Table{Columns: []Column{
		{Head: "W", Right: true, Least: 6}, {Head: "longer than", Least: 12}, {Head: "min", Right: true},
		{Head: lowerHead(r.Confidence), Right: true}, {Head: upperHead, Right: true}, {Head: "more than noise"},
	}}
	places := decimals(g.Gains, 1, func(x *analysis.RuntimeGain) (v, lower, upper analysis.Number) { return x.Minutes, x.Lower, x.Upper })
	for _, x := range g.Gains {
		t.Row(setting(x.SettingW, x.Setting), Text(cmp.Or(x.Variant, "no variant")), Number(x.Minutes, places),
			Number(x.Lower, places), Number(x.Upper, places), beyondNoise(x.Significant))
	}
	return t
}
