package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/run"
)

// measuredBuilder is a builder whose runs have temperatures, clocks and fans: of run i of its
// list 40 + i/10 °C, 2 GHz, and a fan only on unit-elm.
func measuredBuilder(t *testing.T, runs []run.Run) *builder {
	t.Helper()
	b := builderOf(t, runs)
	b.in.Measured = map[string]Measured{}
	for i, r := range runs {
		m := Measured{TemperatureOf: "CPU", Temperature: 40 + float64(i)/10, Clock: 2, Fan: math.NaN()}
		if r.Device == "unit-elm" {
			m.Fan = 3000
		}
		b.in.Measured[r.ID] = m
	}
	return b
}

func allSummaries(b *builder) (list []chart.Chart) {
	for i := range b.study.Topics {
		for _, w := range b.study.Topics[i].Workloads {
			list = append(list, b.deviceCharts(&b.study.Topics[i], w)...)
		}
	}
	return list
}

func panelOf(t *testing.T, c chart.Chart, label string) chart.Panel {
	t.Helper()
	var labels []string
	for _, p := range c.Panels {
		if strings.Contains(p.Title+p.Y.Label, label) {
			return p
		}
		labels = append(labels, p.Title+p.Y.Label)
	}
	t.Fatalf("%s: no panel %q among %q", c.Name, label, labels)
	return chart.Panel{}
}

// drawn draws a chart in every size and palette.
func drawn(t *testing.T, c chart.Chart) {
	t.Helper()
	for _, s := range []chart.Size{chart.Wide, chart.Narrow} {
		for _, p := range []*chart.Palette{&chart.Light, &chart.Dark} {
			if svg := string(chart.SVG(&c, s, p)); !strings.Contains(svg, "<path") || strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
				t.Errorf("%s is not drawn: %.200s", c.Name, svg)
			}
		}
	}
	if c.Title == "" || len(c.Lines) == 0 || !strings.HasPrefix(c.Alt, c.Title) || len(c.Footer) == 0 {
		t.Errorf("%s: title %q, lines %q, in words %q, footer %q", c.Name, c.Title, c.Lines, c.Alt, c.Footer)
	}
}

// All numbers of the summary of a device are those of the analysis.
func TestDeviceSummary(t *testing.T) {
	plots := oakAndElm()
	runs := plant(21, plots[0], plots[2]) // oak alone
	b := measuredBuilder(t, runs)
	list := allSummaries(b)
	if len(list) != 1 || list[0].Name != "summary-unit-oak-harbour-flight-fps-mean" {
		t.Fatalf("%d charts", len(list))
	}
	c := list[0]
	drawn(t, c)
	groups := b.study.Topics[0].Curve.Groups
	result := panelOf(t, c, "mean frame rate")
	for i, g := range []*analysis.CurveGroup{curveOn(groups, "mains"), curveOn(groups, "battery")} {
		if s := result.Series[i]; s.Name != onSupply(g.Supply) || len(s.Points) != len(g.Points) || s.Points[3].Y != float64(g.Points[3].Mean) || s.Points[3].Lower != float64(g.Points[3].Lower) {
			t.Errorf("result: %+v beside %+v", s, g.Points[3])
		}
	}
	runtime := panelOf(t, c, "runtime")
	for i, p := range b.study.Battery.Groups[0].Points {
		if q := runtime.Series[0].Points[i]; q.Y != float64(p.RuntimeH) || q.Upper != float64(p.RuntimeUpperH) || q.X != float64(p.SettingW) {
			t.Errorf("runtime %+v, want %+v", q, p)
		}
	}
	battery := curveOn(groups, "battery")
	heat := panelOf(t, c, "temperature of the CPU")
	for i, p := range battery.Points {
		sum, n, low := 0.0, 0.0, math.Inf(1)
		for _, r := range runs {
			if w, _ := r.Setting.Watts(); r.Supply == "battery" && w == float64(p.SettingW) {
				v := b.in.Measured[r.ID].Temperature
				sum, n, low = sum+v, n+1, min(low, v)
			}
		}
		if q := heat.Series[1].Points[i]; n != 3 || math.Abs(q.Y-sum/n) > 1e-9 || q.Lower != low {
			t.Errorf("temperature at %v W: %+v, want %v from %v", p.SettingW, q, sum/n, low)
		}
	}
	rows := c.Panels[len(c.Panels)-1].Rows
	e, _ := sentence.MostPerWatt(battery)
	words := fmt.Sprint(rows)
	if want := sentence.Watts(float64(e.FromW)) + " to " + sentence.Watts(float64(e.ToW)) + " W"; rows[0].Name != "most per watt" || !strings.Contains(words, want) || !strings.Contains(c.Title, want) {
		t.Errorf("%q, title %q, want %q", words, c.Title, want)
	}
	if floor := sentence.Watts(math.Round(10*float64(battery.Effective.FloorW))/10) + " W"; !strings.Contains(words, "acts as if set to "+floor) || !strings.Contains(c.Alt, "acts as if set to") {
		t.Errorf("no floor of %s in %s", floor, words)
	}
}

func curveOn(groups []analysis.CurveGroup, supply string) *analysis.CurveGroup {
	for i := range groups {
		if groups[i].Supply == supply {
			return &groups[i]
		}
	}
	return nil
}

// A dip that the page claims is marked, with its size.
func TestDeviceSummaryMarksDips(t *testing.T) {
	p := oakAndElm()[0]
	smooth := p.curve
	p.n, p.floor, p.cv = 4, 0, 0.002
	p.curve = func(w float64) float64 {
		if w > 20 && w < 22 {
			return 0.93 * smooth(w)
		}
		return smooth(w)
	}
	c := allSummaries(builderOf(t, plant(22, p)))[0]
	guides := c.Panels[0].Guides
	if len(guides) != 1 || *guides[0].X != 21 || !strings.HasPrefix(guides[0].Text, "dip -") || !strings.Contains(c.Alt, "below the trend") {
		t.Errorf("%+v, %q", guides, c.Alt)
	}
	drawn(t, c)
}

// What there is no sensor for is no panel, and nothing is drawn at zero.
func TestSummaryWithoutSensors(t *testing.T) {
	runs := plant(23, oakAndElm()[0])
	for i := range runs {
		runs[i].PackageW, runs[i].Facts = nil, nil
	}
	b := builderOf(t, runs)
	c := allSummaries(b)[0]
	drawn(t, c)
	for _, p := range c.Panels {
		if strings.Contains(p.Y.Label, "temperature") || strings.Contains(p.Y.Label, "runtime") {
			t.Errorf("a panel %q", p.Y.Label)
		}
	}
	if strings.Contains(c.Alt+keyText(c), "temperature") {
		t.Errorf("%q, %q", c.Alt, keyText(c))
	}
	t1 := &b.study.Topics[0]
	groups := []*analysis.CurveGroup{&t1.Curve.Groups[0]}
	if n := len(b.sensorCharts("harbour-flight", "mains", groups)) + len(b.fairCharts(t1, "harbour-flight", "mains", groups)) + len(b.tradeCharts(t1, "harbour-flight")); n != 0 {
		t.Errorf("%d charts of what was not measured", n)
	}
}

// One setting, names only and long names draw as well.
func TestNewChartsOfAwkwardData(t *testing.T) {
	long := "the device with a name that is much longer than anybody would like to read in a chart"
	named := oakAndElm()
	for i := range named {
		named[i].names = []string{"quiet", "balanced", "as loud as it gets"}
		named[i].device = strings.Replace(named[i].device, "unit-elm", long, 1)
	}
	one := slices.DeleteFunc(plant(24, oakAndElm()...), func(r run.Run) bool { w, _ := r.Setting.Watts(); return w != 15 })
	for name, runs := range map[string][]run.Run{"names": plant(25, named...), "one setting": one} {
		b := measuredBuilder(t, runs)
		list := append(allSummaries(b), b.aheadCharts()...)
		for i := range b.study.Topics {
			x := &b.study.Topics[i]
			list = append(list, b.tradeCharts(x, "harbour-flight")...)
			for supply, groups := range bySupply(x, "harbour-flight") {
				list = append(list, b.sensorCharts("harbour-flight", supply, groups)...)
				list = append(list, b.fairCharts(x, "harbour-flight", supply, groups)...)
			}
		}
		if len(list) < 8 {
			t.Errorf("%s: %d charts", name, len(list))
		}
		for _, c := range list {
			drawn(t, c)
		}
	}
}

// A sensor that one device lacks is drawn of the other alone.
func TestSensorsOverSettings(t *testing.T) {
	b := measuredBuilder(t, plant(26, oakAndElm()...))
	for supply, groups := range bySupply(&b.study.Topics[0], "harbour-flight") {
		c := b.sensorCharts("harbour-flight", supply, groups)[0]
		drawn(t, c)
		if fan := panelOf(t, c, "fan speed"); len(fan.Series) != 1 || fan.Series[0].Name != "unit-elm" || fan.Series[0].Points[0].Y != 3000 {
			t.Errorf("fan: %+v", fan.Series)
		}
		if p := panelOf(t, c, "temperature"); len(p.Series) != 2 || len(p.Series[0].Points) != len(plantedSettings) || *p.Y.From < 20 {
			t.Errorf("temperature: %+v", p)
		}
		if !strings.HasPrefix(c.Title, "Set to 30 W, CPU: ") { // unit-elm keeps to no more
			t.Errorf("title %q", c.Title)
		}
	}
}

// The result stands over the measured watts, with the interval of the one and the runs of the
// other; the title is what the page claims at equal watts.
func TestResultOverMeasuredWatts(t *testing.T) {
	b := builderOf(t, plant(27, oakAndElm()...))
	x := &b.study.Topics[0]
	for supply, groups := range bySupply(x, "harbour-flight") {
		c := b.fairCharts(x, "harbour-flight", supply, groups)[0]
		drawn(t, c)
		want := 1
		if supply == "battery" {
			want = 2
		}
		if len(c.Panels) != want {
			t.Errorf("%s: %d panels", supply, len(c.Panels))
		}
		for k, g := range groups {
			for i, p := range g.Points {
				q, across := c.Panels[0].Series[k].Points[i], c.Panels[0].Series[k].Across[i]
				if q.X != float64(p.PackageW) || q.Y != float64(p.Mean) || q.Lower != float64(p.Lower) || across.From > q.X || across.To < q.X || across.From == across.To {
					t.Errorf("%s: %+v across %+v, want %+v", g.Device, q, across, p)
				}
				if want == 2 && c.Panels[1].Series[k].Points[i].X != float64(p.SystemW) {
					t.Errorf("%s: whole device at %v, want %v", g.Device, c.Panels[1].Series[k].Points[i].X, p.SystemW)
				}
			}
		}
		claimed := slices.ContainsFunc(b.study.Claims, func(k analysis.Claim) bool {
			return k.Kind == analysis.ClaimOverall && k.At == analysis.AtPackage && *k.Supply == supply && strings.Contains(c.Title, percentOff(&k))
		})
		if !claimed {
			t.Errorf("title %q is no claim of %+v", c.Title, b.study.Claims)
		}
	}
}

func TestTradeOff(t *testing.T) {
	b := builderOf(t, plant(28, oakAndElm()...))
	x := &b.study.Topics[0]
	c := b.tradeCharts(x, "harbour-flight")[0]
	drawn(t, c)
	for _, s := range c.Panels[0].Series {
		var g *analysis.CurveGroup
		for i := range x.Curve.Groups {
			if h := &x.Curve.Groups[i]; h.Supply == "battery" && h.Device == s.Name {
				g = h
			}
		}
		for i, p := range g.Points {
			r := b.batteryGroup(g).Points[i]
			if q := s.Points[i]; q.X != float64(p.Mean) || q.Y != float64(r.RuntimeH) || s.Across[i] != (chart.Reach{From: float64(p.Lower), To: float64(p.Upper)}) || s.Words[i] != sentence.Setting(p.SettingW, p.Setting) {
				t.Errorf("%s: %+v, want %v fps for %v h at %v", s.Name, q, p.Mean, r.RuntimeH, p.SettingW)
			}
		}
	}
	g := &x.Curve.Groups[0]
	if set := advisedSettings(g); len(set) != 2 || !strings.Contains(c.Title, "("+set[0]+")") || !strings.Contains(c.Title, "("+set[1]+")") {
		t.Errorf("title %q", c.Title)
	}
}
