package sentence

import (
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"strings"
	"testing"
	"time"

	"sweepd/analysis"
)

// oakHarbour is a group that notes are about.
var oakHarbour = analysis.Group{Device: "unit-oak", Workload: "harbour-flight", Supply: "mains", Variant: "cores=6"}

// worded is a note of every kind, and more where words depend on what it holds.
var worded = []struct {
	note analysis.Note
	text string
}{
	{analysis.LeftOutRuns{Side: "cores=", Runs: 1, Why: analysis.LeftOutMissing, Metric: "score"}, "no cores set: 1 run left out: without score"},
	{analysis.LeftOutRuns{Runs: 2, Why: analysis.LeftOutUnusable, Metric: "score", Watts: []string{"package", "system"}}, "2 runs left out: score and package watts and system watts not finite, zero or negative"},
	{analysis.LeftOutRuns{Runs: 2, Why: analysis.LeftOutMissing, Watts: []string{"system"}}, "2 runs left out: without power of the whole device"},
	{analysis.LeftOutRuns{Runs: 3, Why: analysis.LeftOutSetting, Metric: "score"}, "3 runs left out: set watts not finite, zero or negative"},
	{analysis.NoiseEstimate{Side: "unit-oak", Source: analysis.NoiseNone}, "unit-oak: neither repeats nor enough settings to estimate the noise: no intervals"},
	{analysis.NoiseEstimate{Source: analysis.NoiseDeclared}, "no repeats: the noise is the declared one"},
	{analysis.UnlikeRepeats{Runs: 1}, "1 run differs from its repeats and stays in all numbers"},
	{analysis.UnlikeRepeats{Runs: 11}, "11 runs differ from their repeats and stay in all numbers"},
	{analysis.DirectionsDiffer{Metric: "score", LowerIn: 2, All: 6}, "2 of 6 runs say that a lower score is better"},
	{analysis.SeveralUnits{Metric: "score", Units: []string{"fps", "s"}}, "score has several units (fps, s): the numbers are compared as they are"},

	{analysis.Disobeyed{Side: "unit-oak", At: []analysis.DisobeyedSetting{{SettingW: 5, DrewW: 7.004}, {SettingW: analysis.Unknown(), Setting: "quiet", DrewW: analysis.Unknown()}, {SettingW: 54, DrewW: 38}}},
		"at 5 W (where it drew 7.00 W), quiet and 54 W (where it drew 38.0 W) unit-oak did not keep to its setting, so equal settings are not equal power there"},
	{analysis.Disobeyed{Side: "mains", At: []analysis.DisobeyedSetting{{SettingW: 5, DrewW: 7}}}, "at 5 W (where it drew 7.00 W) the device on mains did not keep"},
	{analysis.Disobeyed{Side: "cores=", At: []analysis.DisobeyedSetting{{SettingW: 5, DrewW: 7}}}, "the device with no cores set did not keep"},
	{analysis.NothingShared{}, "the sides share no setting"},
	{analysis.ShiftsTakenOut{Passes: 3, Spread: 0.0213}, "run in 3 passes, whose common shifts were taken out: 2.1 % between the lowest and the highest"},
	{analysis.ShiftsTakenOut{Passes: 3, Spread: 3}, ": 300 % between"},
	{analysis.ShiftsTakenOut{Passes: 3, Spread: 1e9}, "more than 1000 % between"},
	{analysis.ComparedByName{}, "settings without watts: no crossings"},
	{analysis.GaugesLeftOut{Uncertainty: 0.01}, "about 1 % for each device, is not in the bounds"},
	{analysis.DaysLeftOut{}, "two devices drift each on its own day"},
	{analysis.UnevenNoiseUnseen{}, "noise that changes strongly with the setting is not noticed"},
	{analysis.SlowRunUnseen{}, "a slow run cannot be told from its repeat"},
	{analysis.SingleRunSupported{}, "a single run on a side is won only if"},
	{analysis.NoiseBorrowed{}, "it takes that of the other"},
	{analysis.EqualWatts{Watts: "package"}, "compared at equal measured package watts"},
	{analysis.NoCommonWatts{Watts: "system"}, "not measured in a common range of system watts"},
	{analysis.OutsideCommonWatts{FromW: 6.96, ToW: 38, Points: 1}, "outside the 7.0 to 38.0 W that both sides cover nothing is compared: 1 measured point"},
	{analysis.StraightLine{}, "a straight line is assumed"},
	{analysis.OtherMetric{Workload: "harbour-flight", Metric: "duration", Instead: "fps_mean"}, "harbour-flight has no duration: compared by fps_mean"},
	{analysis.SeveralPairs{}, "each is summed up over its workloads by itself"},
	{analysis.Alone{Group: oakHarbour}, "unit-oak, harbour-flight, mains, cores=6: nothing to compare it with"},

	{analysis.Apart{Early: "unit-elm", Late: "unit-oak"}, "the last run of unit-elm began before the first of unit-oak"},
	{analysis.DurationsDiffer{A: analysis.SideMean{Side: "unit-elm", Mean: 60}, B: analysis.SideMean{Side: "unit-oak", Mean: 90}}, "different duration: runs of unit-elm last 60.0 s on average, of unit-oak 90.0 s"},
	{analysis.StartTemperaturesDiffer{A: analysis.SideMean{Side: "unit-elm", Mean: 41}, B: analysis.SideMean{Side: "unit-oak", Mean: 50}}, "different start temperature: unit-elm 41.0 °C on average, unit-oak 50.0 °C"},
	{analysis.TimesOfDayDiffer{A: analysis.SideTime{Side: "unit-elm", At: 8 * time.Hour}, B: analysis.SideTime{Side: "unit-oak", At: 13*time.Hour + 5*time.Minute}}, "unit-elm ran around 08:00 UTC, unit-oak around 13:05"},
	{analysis.ChargesDiffer{A: analysis.SideMean{Side: "unit-elm", Mean: 0.9}, B: analysis.SideMean{Side: "unit-oak", Mean: 0.5}}, "different charge: unit-elm starts at 90 % on average, unit-oak at 50 %"},
	{analysis.FindingsDiffer{Code: "charging", A: analysis.SideShare{Side: "unit-elm", All: 9}, B: analysis.SideShare{Side: "unit-oak", Runs: 8, All: 9}}, "charging: 0 of 9 runs of unit-elm, 8 of 9 of unit-oak"},
	{analysis.FactsDiffer{Fact: "cpu_governor", A: analysis.SideValues{Side: "unit-elm", Values: []string{"powersave"}}, B: analysis.SideValues{Side: "unit-oak", Values: []string{"", "performance"}}},
		"different governor of the CPU clock: powersave with unit-elm, nothing and performance with unit-oak"},
	{analysis.FactsDiffer{Fact: "cpu_frequency_max_hertz", A: analysis.SideValues{Side: "cores=6", Values: []string{"3400000000"}}, B: analysis.SideValues{Side: "cores=", Values: []string{"3600000000"}}},
		"different highest CPU clock allowed: 3.4 GHz with cores=6, 3.6 GHz with no cores set"},
	{analysis.DevicesDiffer{Facts: []string{"battery_cycles", "battery_full_wh", "cores_active", "cpu_frequency_max_hertz", "cpu_model", "host_board", "host_model"}},
		"the devices differ in model, processor, cores, highest clock and battery"},
	{analysis.UnitsDiffer{Metric: "score", A: analysis.SideValues{Side: "unit-elm", Values: []string{""}}, B: analysis.SideValues{Side: "unit-oak", Values: []string{"points"}}}, "different unit of score: no unit with unit-elm, points with unit-oak"},
	{analysis.MovesBetweenPasses{Side: "unit-oak", Spread: 0.04, Passes: 3}, "results of unit-oak move from pass to pass, by 4.0 % between the lowest and the highest of 3 passes"},
	{analysis.Drifts{Side: "unit-oak", Hours: 6.54, Change: -0.123}, "results of unit-oak drift over the 6.5 h of its runs, by -12 % in all"},

	{analysis.NoUsableResult{Group: oakHarbour, Metric: "score", Runs: 1, Others: []string{"fps_mean", "fps_p1"}}, "cores=6: no usable score in 1 run; it has fps_mean and fps_p1"},
	{analysis.NoUsableResult{Group: oakHarbour, Metric: "score", Runs: 4}, "cores=6: no usable score in 4 runs"},
	{analysis.CurveByName{}, "settings without watts: no range"},
	{analysis.LessIsBetter{}, "lower is better"},
	{analysis.NoOrder{}, "names without a known order: no departures"},
	{analysis.SingleRunDepartures{Departures: 1}, "1 departure rests on a single run, which"},
	{analysis.SingleRunDepartures{Departures: 2}, "2 departures each rest on a single run, which"},
	{analysis.EfficiencyLeftOut{By: analysis.BySystem, Known: 2, All: 5}, "efficiency by watts of the whole device left out: only 2 of 5 settings have them"},
	{analysis.RangeNotTested{Measured: 1, InLine: 1, All: 1}, "only 1 setting: the range is that of the settings tested"},
	{analysis.RangeNotTested{Measured: 2, InLine: 2, All: 2, NoNoise: true}, "only 2 settings: the range is"},
	{analysis.RangeNotTested{InLine: 3, All: 3}, "no package power, and only 3 settings to judge by the results: the range is"},
	{analysis.RangeNotTested{InLine: 3, All: 4}, "no package power, and only 3 settings in line with the trend to judge"},
	{analysis.RangeNotTested{InLine: 3, All: 3, NoNoise: true}, "no package power, and no noise to judge the results by: the range is"},
	{analysis.RangeNotTested{Measured: 1, InLine: 3, All: 3}, "package power at only 1 of 3 settings, and only 3 settings to judge by the results: the range is"},
	{analysis.RangeByResults{All: 8}, "no package power: the range is from results alone"},
	{analysis.RangeByResults{Measured: 2, All: 8}, "package power at only 2 of 8 settings: the range is from results alone"},
	{analysis.FlatResults{}, "do not respond to the setting measurably"},

	{analysis.NoUsablePower{Group: oakHarbour, Runs: 1}, "cores=6: its run has no usable power of the whole device"},
	{analysis.NoUsablePower{Group: oakHarbour, Runs: 3}, "cores=6: none of 3 runs has a usable power of the whole device"},
	{analysis.LoneRunDown{Group: oakHarbour, Run: "20261124-0123456789ab", Hours: 1.9}, "run 456789ab emptied the battery in 1.90 h"},
	{analysis.OtherSupplies{Runs: 1}, "1 run on mains or an unknown supply does not count"},
	{analysis.OtherSupplies{Runs: 5}, "5 runs on mains or an unknown supply do not count"},
	{analysis.FullEnergyChanges{}, "the latest counts"},
	{analysis.FullEnergyUnknown{}, "the full energy of the battery is unknown: no runtimes"},
	{analysis.PackNotCounted{Pack: "100Wh", Variant: "pack=100Wh"}, "not the pack of 100Wh"},
	{analysis.StartChargeUnknown{Runs: 1}, "1 run down to the reserve did not say at which charge it began"},
	{analysis.OverheadBySetting{}, "the line is against set watts"},
	{analysis.NoOverhead{}, "it takes three runs at two powers"},

	{analysis.OneDevice{A: "cores=6", B: "cores="}, "cores=6 against no cores set: one device"},
	{analysis.PriceUnknown{Device: "unit-elm"}, "the price of unit-elm is not known"},
	{analysis.SamePrice{A: "unit-elm", B: "unit-oak"}, "unit-elm and unit-oak cost the same"},
}

func TestNoteSays(t *testing.T) {
	for _, c := range worded {
		if got := Note(c.note); !strings.Contains(got, c.text) {
			t.Errorf("%T: got %q, want %q in it", c.note, got, c.text)
		}
	}
}

// No note orders the reader about: that is for terminals to add.
func TestNoteOrdersNobody(t *testing.T) {
	for _, c := range worded {
		for _, order := range []string{"sweepd", "--", "reject", "repeat it", "repeat them", "repeat each", "state it", "look at"} {
			if text := Note(c.note); strings.Contains(text, order) {
				t.Errorf("%T says %q: %s", c.note, order, text)
			}
		}
	}
}

// Every kind of note in package analysis is in the list above, and so has words.
func TestNoteHasWords(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "../../analysis/note.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	tested := map[string]bool{}
	for _, c := range worded {
		tested[reflect.TypeOf(c.note).Name()] = true
		if got := Note(c.note); got == "" || strings.HasPrefix(got, "analysis.") {
			t.Errorf("%T has no words", c.note)
		}
	}
	kinds := 0
	for _, d := range file.Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok || f.Name.Name != "note" {
			continue
		}
		kinds++
		if name := f.Recv.List[0].Type.(*ast.Ident).Name; !tested[name] {
			t.Errorf("analysis.%s is not tested for words", name)
		}
	}
	if kinds < 50 {
		t.Errorf("only %d kinds of notes were found", kinds)
	}
}

func TestObedience(t *testing.T) {
	c := &analysis.Comparison{Notes: []analysis.Note{analysis.SeveralPairs{}, analysis.Disobeyed{Side: "unit-oak", At: []analysis.DisobeyedSetting{{SettingW: 5, DrewW: 7}}}}}
	got := Obedience(c)
	if want := (Sentence{Doubtful, "At 5 W (where it drew 7.00 W) unit-oak did not keep to its setting, so equal settings are not equal power there."}); len(got) != 1 || got[0] != want {
		t.Errorf("got %v, want %v", got, want)
	}
}
