package table

import (
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Curve is a result against the setting. Of the result per watt a terminal shows that
// by which the efficiency goes, the page all.
func Curve(r *analysis.CurveResult, g *analysis.CurveGroup) *Table {
	group, metric := sentence.Group(g.Workload, g.Device, g.Supply, g.Variant), sentence.CurveMetric(r)
	t := &Table{
		Caption: group + ", " + metric, PageCaption: group + ": " + metric + noiseText(g.Noise),
		Columns: []Column{
			{Head: "W", PageHead: "setting", Right: true, Least: 6}, {Head: "runs", Right: true}, {Head: strings.TrimSpace("mean " + r.Unit), PageHead: "mean", Right: true, Optional: Page},
			{Head: lowerHead(r.Confidence), Right: true, Optional: Page}, {Head: upperHead, Right: true, Optional: Page},
			{Head: "package W", Right: true, Point: true, Optional: Terminal | Page}, {Head: "system W", PageHead: "whole device W", Right: true, Point: true, Optional: Terminal | Page},
			{Head: perWattHead(r, g), Only: Terminal, Point: true, Optional: Terminal},
			{Head: "per package W", Only: Page, Right: true, Optional: Page}, {Head: "per whole-device W", Only: Page, Right: true, Optional: Page},
			{Head: "per set W", Only: Page, Right: true, Optional: Page},
		},
	}
	places := decimals(g.Points, 3, func(x *analysis.CurvePoint) (v, lower, upper analysis.Number) { return x.Mean, x.Lower, x.Upper })
	for _, x := range g.Points {
		per := perWatt(r, g, x)
		if r.Better == "lower" { // a time per watt says nothing: the page's table of efficiency has runs per kJ
			x.PerPackageW, x.PerSystemW, x.PerSettingW = analysis.Unknown(), analysis.Unknown(), analysis.Unknown()
		}
		t.Row(setting(x.SettingW, x.Setting), Count(x.N), quantity(x.Mean, places), quantity(x.Lower, places), quantity(x.Upper, places),
			significant(x.PackageW), significant(x.SystemW), significant(per), significant(x.PerPackageW), significant(x.PerSystemW), significant(x.PerSettingW))
	}
	return t
}

// noiseText says how much one run differs from the next.
func noiseText(noise analysis.Number) string {
	if !noise.Known() {
		return ""
	}
	return "; one run differs from the next by " + sentence.Fixed(100*float64(noise), 2) + " % (standard deviation)"
}

// perWattHead and perWatt go by the watts that the efficiency goes by. Where less
// is better the product says what the quotient does not: seconds times watts are
// the joules of a job.
func perWattHead(r *analysis.CurveResult, g *analysis.CurveGroup) string {
	kind := map[string]string{analysis.ByPackage: "package", analysis.BySystem: "system"}[g.Efficiency.By]
	if kind == "" {
		kind = "set"
	}
	switch {
	case r.Better != "lower":
		return "per " + kind + " W"
	case r.Unit == "s":
		return kind + " J"
	}
	return "x " + kind + " W"
}

func perWatt(r *analysis.CurveResult, g *analysis.CurveGroup, x analysis.CurvePoint) analysis.Number {
	quotient := x.PerSettingW
	switch g.Efficiency.By {
	case analysis.ByPackage:
		quotient = x.PerPackageW
	case analysis.BySystem:
		quotient = x.PerSystemW
	}
	if r.Better == "lower" {
		return x.Mean * x.Mean / quotient // the watts are mean/quotient
	}
	return quotient
}

// Efficiency is the result for each watt, by every kind of watts, times a factor that
// gives it in a unit. Only the page shows it.
func Efficiency(g *analysis.CurveGroup, unit string, factor analysis.Number) *Table {
	t := &Table{
		Caption: sentence.Group(g.Workload, g.Device, g.Supply, g.Variant) + ": " + unit,
		Columns: []Column{{Head: "watts"}, {Head: "setting", Right: true}, {Head: "runs", Right: true}, {Head: "mean", Right: true},
			{Head: lowerHead(0.95), Right: true}, {Head: upperHead, Right: true}, {Head: "plateau"}},
	}
	for _, e := range g.Efficiencies {
		places := decimals(e.Points, 4, func(x *analysis.EfficiencyPoint) (v, lower, upper analysis.Number) {
			return factor * x.Value, factor * x.Lower, factor * x.Upper
		})
		for _, x := range e.Points {
			plateau := ""
			if x.Plateau {
				plateau = "yes"
			}
			t.Row(Text("per "+sentence.Denominator[e.By]), setting(x.SettingW, x.Setting), Count(x.N),
				Number(factor*x.Value, places), Number(factor*x.Lower, places), Number(factor*x.Upper, places), Text(plateau))
		}
	}
	return t
}
