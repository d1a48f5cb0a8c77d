package analysis

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"sweepd/run"
)

// batteryRun is a run on battery with system and package power.
func batteryRun(id string, setting, system, packagePower float64) run.Run {
	r := run.Run{ID: id, Labels: run.Labels{Device: "unit-oak", Workload: "harbour-flight", Setting: run.Watts(setting).From(run.Declared), Supply: "battery"}, SystemW: &system, DurationS: new(120.0)}
	if packagePower > 0 {
		r.PackageW = &packagePower
	}
	return r
}

func onBattery(setting, system, packagePower []float64) []run.Run {
	var runs []run.Run
	for i := range system {
		runs = append(runs, batteryRun(fmt.Sprint(i), setting[i], system[i], packagePower[i]))
	}
	return runs
}

func oneBattery(t rapid.TB, runs []run.Run, req BatteryRequest) BatteryGroup {
	t.Helper()
	result, err := Battery(runs, req)
	if err != nil {
		t.Fatal(err)
	}
	if len(result.Groups) != 1 {
		t.Fatalf("%d groups, want 1: %v", len(result.Groups), result.Notes)
	}
	return result.Groups[0]
}

func full(wh float64) []FullEnergy { return []FullEnergy{{Wh: wh}} }

// weakRun is a recorded run on battery of 0 s, as the store gives it: its watts are gone.
func weakRun(id string, setting, packagePower float64) run.Run {
	r := batteryRun(id, setting, 12, packagePower)
	r.SystemW, r.DurationS = nil, new(0.0)
	r.Discharge = &run.Discharge{Watts: new(6.3), UncertaintyWatts: new(3.2)}
	r.Findings = []run.Finding{{Code: run.TooShort}}
	r.Results = map[string]run.Result{"fps_mean": {Value: 60, Better: run.Higher}}
	return r
}

// Runs that say nothing change nothing but the list of those left out; where there are no
// others, nothing is said of the battery.
func TestBatteryLeavesOutRunsThatSayNothing(t *testing.T) {
	sound := onBattery([]float64{8, 8, 11, 11, 16, 16}, []float64{15.2, 15.5, 18.9, 19.1, 24.2, 24.6}, []float64{8, 8.1, 11.2, 11.3, 15.9, 16})
	want := oneBattery(t, sound, BatteryRequest{Full: full(50)})
	weak := []run.Run{weakRun("w2", 8, 8), weakRun("w1", 22, 22)}
	got, err := Battery(append(slices.Clone(sound), weak...), BatteryRequest{Full: full(50)})
	if err != nil {
		t.Fatal(err)
	}
	asJSON := func(groups ...BatteryGroup) string {
		text, err := json.Marshal(groups)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	if diff := cmp.Diff(asJSON(want), asJSON(got.Groups...)); diff != "" {
		t.Errorf("-without +with runs that say nothing:\n%s", diff)
	}
	if diff := cmp.Diff([]LeftOutRun{{"w1", "too short, 0.0 s", "harbour-flight"}, {"w2", "too short, 0.0 s", "harbour-flight"}}, got.LeftOut); diff != "" {
		t.Errorf("left out (-want +got):\n%s", diff)
	}
	alone, err := Battery(weak, BatteryRequest{Full: full(50)})
	if err != nil || len(alone.Groups) != 0 || len(alone.LeftOut) != 2 || len(alone.Notes) != 1 || alone.Notes[0].Code != NoteNoUsablePower {
		t.Errorf("alone: %+v, %v", alone, err)
	}
	curve, err := Curve(weak, CurveRequest{Metric: "fps_mean"})
	if err != nil || len(curve.Groups) != 1 || len(curve.Groups[0].Points) != 2 || curve.Groups[0].Points[0].SystemW.Known() ||
		!has(curve.Groups[0].Notes, Note{Code: NotePowerUnclear, Count: 2}) {
		t.Errorf("curve: %+v, %v", curve, err)
	}
}

// Base R 4.2.2, to ten digits.
func TestBatteryNumbers(t *testing.T) {
	runs := onBattery([]float64{8, 8, 11, 11, 16, 16, 22, 22},
		[]float64{15.2, 15.5, 18.9, 19.1, 24.2, 24.6, 31.0, 30.6},
		[]float64{8, 8.1, 11.2, 11.3, 15.9, 16, 21.8, 21.6})
	g := oneBattery(t, runs, BatteryRequest{Full: full(50)})
	if g.N != len(runs) {
		t.Errorf("%d runs used, want all %d", g.N, len(runs))
	}
	o := g.Overhead
	if o.Against != ByPackage {
		t.Errorf("overhead against %q", o.Against)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"intercept", float64(o.InterceptW), 6.218591534},
		{"intercept lower", float64(o.InterceptLowerW), 5.936555697},
		{"intercept upper", float64(o.InterceptUpperW), 6.500627372},
		{"slope", float64(o.Slope), 1.13580856},
		{"slope lower", float64(o.SlopeLower), 1.113437445},
		{"slope upper", float64(o.SlopeUpper), 1.158179675},
		{"noise", float64(g.Noise), 0.0103768295},
		{"runtime at 8 W", float64(g.Points[0].RuntimeH), 3.257484525},
		{"lower", float64(g.Points[0].RuntimeLowerH), 3.196618611},
		{"upper", float64(g.Points[0].RuntimeUpperH), 3.31950937},
		{"runtime at 22 W", float64(g.Points[3].RuntimeH), 1.62341085},
		{"lower", float64(g.Points[3].RuntimeLowerH), 1.59307751},
		{"upper", float64(g.Points[3].RuntimeUpperH), 1.654321758},
	} {
		near(t, c.what, c.got, c.want, 5e-10)
	}
	if g.NoiseSource != NoisePooledRoughness || !has(g.Notes, Note{Code: NoteNoiseFewRepeats}) {
		t.Errorf("source %s, notes %+v", g.NoiseSource, g.Notes)
	}
	near(t, "df", g.means[0].nu, 5, 1e-12)
}

// Remaining life = remaining capacity / present rate: ACPI specification 6.0,
// 10.2.2.6: 49450 mWh at 4830 mW last 10.2380952381 h.
func TestBatteryRuntimeACPI(t *testing.T) {
	runs := []run.Run{batteryRun("a", 10, 4.83, 0), batteryRun("b", 10, 4.83, 0)}
	p := oneBattery(t, runs, BatteryRequest{Full: full(49.45)}).Points[0]
	near(t, "runtime", float64(p.RuntimeH), 10.2380952381, 1e-11)
	if !(p.RuntimeLowerH < p.RuntimeH && p.RuntimeUpperH > p.RuntimeH) {
		t.Errorf("interval %v..%v", p.RuntimeLowerH, p.RuntimeUpperH)
	}
}

// Common practice, no source: a handheld set to 15 W draws about 25 W in all, set
// to 80 W about 109 W. Straight between: 5.6 W for the rest of the device and
// 1.29 W at the battery for each watt set; 50 Wh last 2 h and 28 min.
func TestBatteryHandheld(t *testing.T) {
	slope := (109.0 - 25) / (80 - 15)
	var runs []run.Run
	for k, noise := range []float64{0.005, -0.003, 0.003, -0.005} {
		for _, w := range []float64{10, 15, 25, 40, 60, 80} {
			runs = append(runs, batteryRun(fmt.Sprint(w, k), w, (25+slope*(w-15))*math.Exp(noise), w))
		}
	}
	g := oneBattery(t, runs, BatteryRequest{Full: full(50)})
	o := g.Overhead
	if !(o.InterceptLowerW <= 5.615 && o.InterceptUpperW >= 5.615 && o.SlopeLower <= 1.2923 && o.SlopeUpper >= 1.2923) {
		t.Errorf("overhead %+v does not hold 5.6 W and 1.29", o)
	}
	near(t, "line at 15 W", float64(o.InterceptW+15*o.Slope), 25, 0.01)
	near(t, "line at 80 W", float64(o.InterceptW+80*o.Slope), 109, 0.01)
	near(t, "runtime at 15 W", float64(g.Points[1].RuntimeH), 2, 0.01)
	near(t, "runtime at 80 W", float64(g.Points[5].RuntimeH), 50.0/109, 0.01)
}

// Reserve and an uncertain full energy: half width by hand.
func TestBatteryReserveAndUncertainEnergy(t *testing.T) {
	runs := []run.Run{batteryRun("a", 15, 25.1, 0), batteryRun("b", 15, 24.9, 0), batteryRun("c", 15, 25, 0)}
	exact := oneBattery(t, runs, BatteryRequest{Full: full(50), Reserve: 0.05}).Points[0]
	unsure := oneBattery(t, runs, BatteryRequest{Full: []FullEnergy{{Wh: 50, RSE: 0.02}}, Reserve: 0.05}).Points[0]
	near(t, "runtime", float64(exact.RuntimeH), 47.5/float64(exact.SystemW), 1e-12)
	near(t, "runtime", float64(unsure.RuntimeH), float64(exact.RuntimeH), 1e-12)
	const t2 = 4.302652730 // t(0.975, 2) of any table
	narrow := math.Log(float64(exact.RuntimeUpperH / exact.RuntimeH))
	want := t2 * math.Sqrt(narrow*narrow/t2/t2+0.02*0.02)
	near(t, "half width", math.Log(float64(unsure.RuntimeUpperH/unsure.RuntimeH)), want, 1e-8)
	near(t, "half width below", math.Log(float64(unsure.RuntimeH/unsure.RuntimeLowerH)), want, 1e-8)
}

// Whose full energy counts: the request's before the device's own word, the more
// particular entry after the general one. Health is full over design: 50.06 of
// 47.52 Wh is 1.05345117845 (ACPI specification 6.0, 10.2.2.6 with the recorded
// values of a machine in the procfs module).
func TestBatteryFullEnergy(t *testing.T) {
	runs := []run.Run{batteryRun("a", 15, 25, 0), batteryRun("b", 15, 25.2, 0)}
	for i := range runs {
		runs[i].Facts = map[string]string{FactFullEnergyWh: "50.06", FactDesignEnergyWh: "47.52"}
	}
	g := oneBattery(t, runs, BatteryRequest{})
	if g.FullEnergyWh != 50.06 || g.FullSource != "fact" || g.DesignWh != 47.52 {
		t.Errorf("%+v", g)
	}
	near(t, "health", float64(g.Health), 1.05345117845, 1e-11)

	g = oneBattery(t, runs, BatteryRequest{Full: []FullEnergy{{Wh: 40}, {Device: "unit-oak", Wh: 45}, {Device: "unit-elm", Wh: 60}}})
	if g.FullEnergyWh != 45 || g.FullSource != "request" {
		t.Errorf("full energy %v by %q, want 45 by request", g.FullEnergyWh, g.FullSource)
	}
	near(t, "health by the device's word", float64(g.Health), 1.05345117845, 1e-11)

	runs[1].Facts[FactFullEnergyWh] = "45"
	runs[1].StartedAt = run.Timestamp{Time: time.Date(2026, 11, 24, 9, 0, 0, 0, time.UTC)}
	g = oneBattery(t, runs, BatteryRequest{})
	if g.FullEnergyWh != 45 || !has(g.Notes, Note{Code: NoteFullEnergyChanges}) {
		t.Errorf("full energy %v, notes %+v, want the latest and a note", g.FullEnergyWh, g.Notes)
	}

	for i := range runs {
		runs[i].Facts = map[string]string{FactFullEnergyWh: "unknown", FactDesignEnergyWh: "-1"}
	}
	g = oneBattery(t, runs, BatteryRequest{})
	if g.FullEnergyWh.Known() || g.Points[0].RuntimeH.Known() || g.Health.Known() || !g.Points[0].SystemW.Known() {
		t.Errorf("%+v, want unknown energy and runtime, known power", g)
	}
	asJSON(t, g)
}

// An external pack is a variant; its energy counts only where it is stated.
func TestBatteryPack(t *testing.T) {
	runs := []run.Run{batteryRun("a", 15, 25, 0), batteryRun("b", 15, 25, 0)}
	for i := range runs {
		runs[i].Variant = "pack=100Wh"
	}
	packNotCounted := Note{Code: NotePackNotCounted, Group: groupOf(&runs[0]), Name: "100Wh"}
	alone := oneBattery(t, runs, BatteryRequest{Full: full(50)})
	if !has(alone.Notes, packNotCounted) {
		t.Errorf("notes %+v do not say that the pack is left out", alone.Notes)
	}
	both := oneBattery(t, runs, BatteryRequest{Full: []FullEnergy{{Wh: 50}, {Variant: "pack=100Wh", Wh: 150}}})
	near(t, "runtime with the pack", float64(both.Points[0].RuntimeH), 6, 1e-12)
	if has(both.Notes, packNotCounted) {
		t.Errorf("notes %+v", both.Notes)
	}
}

// Gains against the law of propagation by hand, and their mirror.
func TestBatteryGains(t *testing.T) {
	var runs []run.Run
	for i, system := range []float64{24.9, 25, 25.1, 29.8, 30, 30.2} {
		r := batteryRun(fmt.Sprint(i), 15, system, 0)
		r.Variant = "cores=6"
		if i >= 3 {
			r.Variant = "cores=12"
		}
		runs = append(runs, r)
	}
	runs = append(runs, run.Run{Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Setting: runs[0].Setting, Supply: "battery", Variant: "cores=12"}, SystemW: runs[0].SystemW})
	result, err := Battery(runs, BatteryRequest{Full: []FullEnergy{{Wh: 50, RSE: 0.01}}})
	if err != nil {
		t.Fatal(err)
	}
	many, few := result.Groups[0], result.Groups[1]
	if many.Variant != "cores=12" || len(few.Gains) != 1 || len(many.Gains) != 1 || len(result.Groups[2].Gains) != 0 {
		t.Fatalf("groups %+v", result.Groups)
	}
	gain := few.Gains[0]
	ra, rb := 50/float64(few.Points[0].SystemW), 50/float64(many.Points[0].SystemW)
	near(t, "minutes", float64(gain.Minutes), 60*(ra-rb), 1e-12)
	va, vb := ra*ra*few.means[0].v, rb*rb*many.means[0].v
	nu := (va + vb) * (va + vb) / (va*va/2 + vb*vb/2)
	half := 60 * twoSided(nu) * math.Sqrt(va+vb+0.01*0.01*(ra-rb)*(ra-rb))
	near(t, "lower", float64(gain.Lower), float64(gain.Minutes)-half, 1e-12)
	near(t, "upper", float64(gain.Upper), float64(gain.Minutes)+half, 1e-12)
	if !gain.Significant || gain.Variant != "cores=12" {
		t.Errorf("%+v", gain)
	}
	mirror := many.Gains[0]
	near(t, "mirrored", float64(mirror.Minutes), -float64(gain.Minutes), 1e-12)
	near(t, "mirrored lower", float64(mirror.Lower), -float64(gain.Upper), 1e-12)

	// Two batteries err each by itself: se^2 = Ra^2 va + Rb^2 vb + ua^2 Ra^2 + ub^2 Rb^2.
	result, err = Battery(runs, BatteryRequest{Full: []FullEnergy{{Wh: 50, RSE: 0.01}, {Variant: "cores=6", Wh: 150, RSE: 0.02}}})
	if err != nil {
		t.Fatal(err)
	}
	gain, ra = result.Groups[1].Gains[0], 3*ra
	va = 9 * va
	nu = (va + vb) * (va + vb) / (va*va/2 + vb*vb/2)
	half = 60 * twoSided(nu) * math.Sqrt(va+vb+0.02*0.02*ra*ra+0.01*0.01*rb*rb)
	near(t, "minutes of two batteries", float64(gain.Minutes), 60*(ra-rb), 1e-12)
	near(t, "upper of two batteries", float64(gain.Upper), float64(gain.Minutes)+half, 1e-12)
}

// A run down to the reserve stands beside its prediction: 47.5 Wh at 25 W last
// 1.9 h.
func TestBatteryMeasuredRuntime(t *testing.T) {
	runs := []run.Run{batteryRun("a", 15, 25.1, 0), batteryRun("b", 15, 24.9, 0), batteryRun("long", 15, 25, 0), batteryRun("half", 15, 25, 0)}
	charge, half := 1.0, 0.525
	runs[2].Findings, runs[2].DurationS, runs[2].StartCharge = reserve, new(1.88*3600), &charge
	runs[3].Findings, runs[3].DurationS, runs[3].StartCharge = reserve, new(0.95*3600), &half
	g := oneBattery(t, runs, BatteryRequest{Full: full(50), Reserve: 0.05})
	if len(g.Measured) != 2 || g.Measured[0].Run != "half" || g.Measured[1].Run != "long" {
		t.Fatalf("measured %+v", g.Measured)
	}
	long := g.Measured[1]
	near(t, "measured", float64(long.RuntimeH), 1.88, 1e-12)
	near(t, "predicted", float64(long.PredictedH), 47.5/25, 1e-4)
	near(t, "predicted from 52.5 %", float64(g.Measured[0].PredictedH), 47.5/25/2, 1e-4)
	p := g.Points[0]
	if !(long.PredictedLowerH < p.RuntimeLowerH && long.PredictedUpperH > p.RuntimeUpperH) {
		t.Errorf("a single run's interval %v..%v is not wider than the mean's %v..%v", long.PredictedLowerH, long.PredictedUpperH, p.RuntimeLowerH, p.RuntimeUpperH)
	}
}

// What counts as a measured runtime, and what it is predicted from: 50 Wh at 25 W
// last 2 h, so from 100 % to 4 % 1.92 h.
func TestBatteryRunDown(t *testing.T) {
	runs := []run.Run{batteryRun("a", 15, 25.1, 0), batteryRun("b", 15, 24.9, 0), batteryRun("c", 15, 25, 0)}
	off := batteryRun("off", 15, 25, 0)
	off.DurationS, off.StartCharge, off.EndCharge = new(1.9*3600), pointer(1.0), pointer(0.04)
	for _, c := range []struct {
		name       string
		start, end *float64
		reserve    float64
		want       float64 // hours; 0: no measured runtime
	}{
		{"until it switched off", pointer(1.0), pointer(0.04), 0, 1.92},
		{"stopped at the reserve", pointer(1.0), pointer(0.2), 0.2, 1.6},
		{"stopped above the reserve", pointer(1.0), pointer(0.2), 0.1, 0},
		{"began near empty", pointer(0.12), pointer(0.04), 0, 0},
		{"the end is not known", pointer(1.0), nil, 0, 0},
	} {
		r := off
		r.StartCharge, r.EndCharge = c.start, c.end
		g := oneBattery(t, runs, BatteryRequest{Full: full(50), Reserve: c.reserve, SwitchedOff: []run.Run{r}})
		switch {
		case c.want == 0 && len(g.Measured) != 0 || c.want > 0 && len(g.Measured) != 1:
			t.Errorf("%s: %+v", c.name, g.Measured)
		case c.want > 0:
			m := g.Measured[0]
			near(t, c.name, float64(m.PredictedH), c.want, 1e-4)
			if !m.SwitchedOff || m.EndCharge != Number(*c.end) || !(m.PredictedLowerH < m.PredictedH && m.PredictedH < m.PredictedUpperH) {
				t.Errorf("%s: %+v", c.name, m)
			}
		}
		if g.N != 3 {
			t.Errorf("%s: %d runs make the points, want 3", c.name, g.N)
		}
	}
	lone := off
	lone.Setting = atWatts(30.0)
	if g := oneBattery(t, runs, BatteryRequest{Full: full(50), SwitchedOff: []run.Run{lone}}); len(g.Measured) != 1 || g.Measured[0].PredictedH.Known() {
		t.Errorf("a setting without other runs: %+v", g.Measured)
	}
	lone.Workload = "tile-sort"
	if r, err := Battery(runs, BatteryRequest{SwitchedOff: []run.Run{lone}}); err != nil || !has(r.Notes, Note{Code: NoteLoneRunDown, Group: groupOf(&lone), Run: "off", Hours: 1.9}) {
		t.Errorf("a workload without other runs: %+v, %v", r.Notes, err)
	}
}

// What runs share widens the prediction of a single one once, however many runs
// stand behind it: half width t(0.975, 2) sqrt(V (1 + 1/3) + u^2).
func TestBatteryRunDownWithSharedUncertainty(t *testing.T) {
	runs := []run.Run{batteryRun("a", 15, 25.1, 0), batteryRun("b", 15, 24.9, 0), batteryRun("c", 15, 25, 0)}
	off := batteryRun("off", 15, 25, 0)
	off.DurationS, off.Findings = new(1.9*3600), reserve
	request := BatteryRequest{Full: full(50), Reserve: 0.04, SwitchedOff: []run.Run{off}}
	group := oneBattery(t, runs, request)
	exact := group.Measured[0]
	if want := (Note{Code: NoteStartChargeUnknown, Count: 1}); !has(group.Notes, want) {
		t.Errorf("notes %+v lack %+v", group.Notes, want)
	}
	for i := range runs {
		uncertain(&runs[i], 0.02)
	}
	unsure := oneBattery(t, runs, request).Measured[0]
	const t2 = 4.302652730 // t(0.975, 2) of any table
	narrow := math.Log(float64(exact.PredictedUpperH / exact.PredictedH))
	near(t, "half width", math.Log(float64(unsure.PredictedUpperH/unsure.PredictedH)), t2*math.Sqrt(narrow*narrow/t2/t2+0.02*0.02), 1e-8)
}

// The odd run is flagged and noted.
func TestBatteryFlags(t *testing.T) {
	var runs []run.Run
	for i, w := range []float64{8, 11, 16, 22} {
		for k := range 3 {
			runs = append(runs, batteryRun(fmt.Sprint(i, k), w, (5+w)*(1+0.002*float64(k)), w))
		}
	}
	*runs[4].SystemW *= 1.2
	if g := oneBattery(t, runs, BatteryRequest{}); len(g.Flagged) != 1 || g.Flagged[0].Run != runs[4].ID || !has(g.Notes, Note{Code: NoteUnlikeRepeats, Count: 1}) {
		t.Errorf("flagged %+v, notes %+v", g.Flagged, g.Notes)
	}
}

func TestBatteryOverheadWithoutPackage(t *testing.T) {
	runs := onBattery([]float64{8, 11, 16, 22}, []float64{15.2, 18.9, 24.2, 31}, make([]float64, 4))
	g := oneBattery(t, runs, BatteryRequest{})
	if g.Overhead.Against != BySetting || !has(g.Notes, Note{Code: NoteOverheadBySetting}) {
		t.Errorf("%+v, notes %+v: want a line against set watts and a note", g.Overhead, g.Notes)
	}
	g = oneBattery(t, runs[:2], BatteryRequest{})
	if g.Overhead.Against != "" || g.Overhead.Slope.Known() {
		t.Errorf("a line through two runs: %+v", g.Overhead)
	}
	asJSON(t, g)
}

func TestBatteryRequestChecked(t *testing.T) {
	runs := []run.Run{batteryRun("a", 15, 25, 0)}
	mains := slices.Clone(runs)
	mains[0].Supply = "mains"
	for name, c := range map[string]struct {
		runs []run.Run
		req  BatteryRequest
	}{
		"no run":       {nil, BatteryRequest{}},
		"mains only":   {mains, BatteryRequest{}},
		"reserve 1":    {runs, BatteryRequest{Reserve: 1}},
		"reserve NaN":  {runs, BatteryRequest{Reserve: math.NaN()}},
		"empty":        {runs, BatteryRequest{Full: full(0)}},
		"energy Inf":   {runs, BatteryRequest{Full: full(math.Inf(1))}},
		"energy error": {runs, BatteryRequest{Full: []FullEnergy{{Wh: 50, RSE: -1}}}},
		"noise":        {runs, BatteryRequest{Declared: math.Inf(1)}},
	} {
		if _, err := Battery(c.runs, c.req); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := Battery(append(mains, runs...), BatteryRequest{}); err != nil {
		t.Error(err)
	}
}
