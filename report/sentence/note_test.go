package sentence

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"strconv"
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
	{analysis.Note{Code: analysis.NoteQuantityMissing, Side: "cores=", Count: 1, Metric: "score"}, "no cores set: 1 run left out: without score"},
	{analysis.Note{Code: analysis.NoteQuantityUnusable, Count: 2, Metric: "score", Watts: []string{"package", "system"}}, "2 runs left out: score and package watts and system watts not finite, zero or negative"},
	{analysis.Note{Code: analysis.NoteQuantityMissing, Count: 2, Watts: []string{"system"}}, "2 runs left out: without power of the whole device"},
	{analysis.Note{Code: analysis.NotePowerUnclear, Side: "unit-oak", Count: 2}, "unit-oak: 2 runs without power of the whole device: too short, or the discharge too uncertain"},
	{analysis.Note{Code: analysis.NoteSeveralMachines, Name: "unit-oak", Count: 2, Names: []string{"their firmware has different ids"}},
		"runs of unit-oak were recorded on 2 machines, by what they say of themselves (their firmware has different ids): two devices of one name"},
	{analysis.Note{Code: analysis.NoteKeptInterrupted, Count: 1}, "1 run was interrupted and kept by hand: it ends at its last stored sweep"},
	{analysis.Note{Code: analysis.NoteKeptInterrupted, Count: 2}, "2 runs were interrupted and kept by hand: they end at their last stored sweep"},
	{analysis.Note{Code: analysis.NoteSettingUnusable, Count: 3, Metric: "score"}, "3 runs left out: set watts not finite, zero or negative"},
	{analysis.Note{Code: analysis.NoteNoiseUnknown, Side: "unit-oak"}, "unit-oak: neither repeats nor enough settings to tell how much runs differ by chance: no intervals"},
	{analysis.Note{Code: analysis.NoteNoiseFewRepeats}, "few repeats: how much runs differ by chance is estimated from them and from how smooth the curve is"},
	{analysis.Note{Code: analysis.NoteNoiseNoRepeats, Side: "cores="}, "no cores set: no repeats: how much runs differ by chance is guessed from how smooth the curve is"},
	{analysis.Note{Code: analysis.NoteNoiseDeclared}, "no repeats: how much runs differ by chance is what was declared"},
	{analysis.Note{Code: analysis.NoteUnlikeRepeats, Count: 1}, "1 run differs from its repeats and stays in all numbers"},
	{analysis.Note{Code: analysis.NoteUnlikeRepeats, Count: 11}, "11 runs differ from their repeats and stay in all numbers"},
	{analysis.Note{Code: analysis.NoteDirectionsDiffer, Metric: "score", Count: 2, Of: 6}, "2 of 6 runs say that a lower score is better"},
	{analysis.Note{Code: analysis.NoteSeveralUnits, Metric: "score", Names: []string{"fps", "s"}}, "score has several units (fps, s): the numbers are compared as they are"},

	{analysis.Note{Code: analysis.NoteSettingsDisobeyed, Side: "unit-oak", At: []analysis.DisobeyedSetting{{SettingW: 5, DrewW: 7.004}, {SettingW: 6, DrewW: 7.011}, {SettingW: analysis.Unknown(), Setting: "quiet", DrewW: analysis.Unknown()}, {SettingW: 54, DrewW: 38}}},
		"unit-oak drew 7.00 to 7.01 W at 5 W and 6 W, 38.0 W at 54 W and did not keep to quiet: equal settings are not equal power there"},
	{analysis.Note{Code: analysis.NoteSettingsDisobeyed, Side: "mains", At: []analysis.DisobeyedSetting{{SettingW: 5, DrewW: 7}}}, "the device on mains drew 7.00 W at 5 W: equal settings"},
	{analysis.Note{Code: analysis.NoteSettingsDisobeyed, Side: "cores=", At: []analysis.DisobeyedSetting{{SettingW: 5, DrewW: 7}}}, "the device with no cores set drew 7.00 W at 5 W"},
	{analysis.Note{Code: analysis.NoteNothingShared}, "the sides share no setting"},
	{analysis.Note{Code: analysis.NoteShiftsTakenOut, Count: 3, Ratio: 0.0213}, "run in 3 passes: what all runs of a pass shifted by is taken out, 2.1 % between the lowest and the highest"},
	{analysis.Note{Code: analysis.NoteShiftsTakenOut, Count: 3, Ratio: 3}, ", 300 % between"},
	{analysis.Note{Code: analysis.NoteShiftsTakenOut, Count: 3, Ratio: 1e9}, "more than 1000 % between"},
	{analysis.Note{Code: analysis.NoteComparedByName}, "settings without watts: no crossings"},
	{analysis.Note{Code: analysis.NoteGaugesLeftOut, Ratio: 0.01}, "about 1 % for each device, is not in the intervals"},
	{analysis.Note{Code: analysis.NoteDaysLeftOut}, "two devices drift each on its own day"},
	{analysis.Note{Code: analysis.NoteUnevenNoiseUnseen}, "nobody notices that runs scatter more at some settings than at others"},
	{analysis.Note{Code: analysis.NoteSlowRunUnseen}, "a slow run cannot be told from its repeat"},
	{analysis.Note{Code: analysis.NoteSingleRunSupported}, "where a side has a single run, it is called ahead only if"},
	{analysis.Note{Code: analysis.NoteNoiseBorrowed}, "it takes that of the other"},
	{analysis.Note{Code: analysis.NoteEqualWatts, Watts: []string{"package"}}, "compared at equal measured package watts"},
	{analysis.Note{Code: analysis.NoteNoCommonWatts, Watts: []string{"system"}}, "not measured in a common range of system watts"},
	{analysis.Note{Code: analysis.NoteOutsideCommonWatts, FromW: 6.96, ToW: 38, Count: 1}, "outside the 7.0 to 38.0 W that both sides cover nothing is compared: 1 measured point"},
	{analysis.Note{Code: analysis.NoteStraightLine}, "a straight line is assumed"},
	{analysis.Note{Code: analysis.NoteOtherMetric, Group: analysis.Group{Workload: "harbour-flight"}, Metric: "duration", Name: "fps_mean"}, "harbour-flight has no time taken: compared by mean frame rate"},
	{analysis.Note{Code: analysis.NoteSeveralPairs}, "each is summed up over its workloads by itself"},
	{analysis.Note{Code: analysis.NoteNoCounterpart, Group: oakHarbour}, "unit-oak, harbour-flight, mains, cores=6: nothing to compare it with"},

	{analysis.Note{Code: analysis.ConfounderApart, A: analysis.NoteSide{Side: "unit-elm"}, B: analysis.NoteSide{Side: "unit-oak"}}, "the last run of unit-elm began before the first of unit-oak"},
	{analysis.Note{Code: analysis.ConfounderDurations, A: analysis.NoteSide{Side: "unit-elm", Mean: 60}, B: analysis.NoteSide{Side: "unit-oak", Mean: 90}}, "different duration: runs of unit-elm last 60.0 s on average, of unit-oak 90.0 s"},
	{analysis.Note{Code: analysis.ConfounderStartTemperatures, A: analysis.NoteSide{Side: "unit-elm", Mean: 41}, B: analysis.NoteSide{Side: "unit-oak", Mean: 50}}, "different start temperature: unit-elm 41.0 °C on average, unit-oak 50.0 °C"},
	{analysis.Note{Code: analysis.ConfounderTimesOfDay, A: analysis.NoteSide{Side: "unit-elm", TimeOfDay: 8 * time.Hour}, B: analysis.NoteSide{Side: "unit-oak", TimeOfDay: 13*time.Hour + 5*time.Minute}}, "unit-elm ran around 08:00 UTC, unit-oak around 13:05"},
	{analysis.Note{Code: analysis.ConfounderCharges, A: analysis.NoteSide{Side: "unit-elm", Mean: 0.9}, B: analysis.NoteSide{Side: "unit-oak", Mean: 0.5}}, "different charge: unit-elm starts at 90 % on average, unit-oak at 50 %"},
	{analysis.Note{Code: analysis.ConfounderFindings, Name: "charging", A: analysis.NoteSide{Side: "unit-elm", Of: 9}, B: analysis.NoteSide{Side: "unit-oak", Count: 8, Of: 9}}, "charging: 0 of 9 runs of unit-elm, 8 of 9 of unit-oak"},
	{analysis.Note{Code: analysis.ConfounderFacts, Name: "cpu_governor", A: analysis.NoteSide{Side: "unit-elm", Values: []string{"powersave"}}, B: analysis.NoteSide{Side: "unit-oak", Values: []string{"", "performance"}}},
		"different governor of the CPU clock: powersave with unit-elm, nothing and performance with unit-oak"},
	{analysis.Note{Code: analysis.ConfounderFacts, Name: "cpu_frequency_max_hertz", A: analysis.NoteSide{Side: "cores=6", Values: []string{"3400000000"}}, B: analysis.NoteSide{Side: "cores=", Values: []string{"3600000000"}}},
		"different highest CPU clock allowed: 3.4 GHz with cores=6, 3.6 GHz with no cores set"},
	{analysis.Note{Code: analysis.ConfounderDevices, Names: []string{"battery_cycles", "battery_full_wh", "cores_active", "cpu_frequency_max_hertz", "cpu_model", "host_board", "host_model"}},
		"the devices differ in model, processor, cores, highest clock and battery"},
	{analysis.Note{Code: analysis.ConfounderUnits, Metric: "score", A: analysis.NoteSide{Side: "unit-elm", Values: []string{""}}, B: analysis.NoteSide{Side: "unit-oak", Values: []string{"points"}}}, "different unit of score: no unit with unit-elm, points with unit-oak"},
	{analysis.Note{Code: analysis.ConfounderPasses, Side: "unit-oak", Ratio: 0.04, Count: 3}, "results of unit-oak move from pass to pass, by 4.0 % between the lowest and the highest of 3 passes"},
	{analysis.Note{Code: analysis.ConfounderDrift, Side: "unit-oak", Hours: 6.54, Ratio: -0.123}, "results of unit-oak fall over the day, by 12 % in the 6 h 32 min of its runs"},
	{analysis.Note{Code: analysis.ConfounderDrift, Side: "unit-oak", Hours: 6.54, Ratio: 0.023}, "results of unit-oak rise over the day, by 2.3 % in the 6 h 32 min of its runs"},
	{analysis.Note{Code: analysis.NoteDaysDiffer, Side: "unit-oak", Ratio: 0.031, Count: 2}, "results of unit-oak shift between days, by 3.1 % from the lowest to the highest of 2"},
	{analysis.Note{Code: analysis.NoteDaysDiffer, Ratio: 0.031, Count: 3}, "results shift between days"},

	{analysis.Note{Code: analysis.NoteNoUsableResult, Group: oakHarbour, Metric: "score", Count: 1, Names: []string{"fps_mean", "fps_p1"}}, "cores=6: no usable score in 1 run; it has fps_mean and fps_p1"},
	{analysis.Note{Code: analysis.NoteNoUsableResult, Group: oakHarbour, Metric: "score", Count: 4}, "cores=6: no usable score in 4 runs"},
	{analysis.Note{Code: analysis.NoteCurveByName}, "settings without watts: it is not said which are followed"},
	{analysis.Note{Code: analysis.NoteLowerIsBetter}, "lower is better"},
	{analysis.Note{Code: analysis.NoteNoOrder}, "names without a known order: no dips are looked for"},
	{analysis.Note{Code: analysis.NoteSingleRunDepartures, Count: 1}, "1 dip rests on a single run, which"},
	{analysis.Note{Code: analysis.NoteSingleRunDepartures, Count: 2}, "2 dips each rest on a single run, which"},
	{analysis.Note{Code: analysis.NoteExternalWatts, Count: 3, Of: 5}, "watts of the whole device of 3 of 5 runs are those of an external meter"},
	{analysis.Note{Code: analysis.ConfounderWattsSources, A: analysis.NoteSide{Side: "mains", Count: 4, Of: 5}, B: analysis.NoteSide{Side: "battery", Of: 6}},
		"watts of the whole device from different sources: 4 of 5 runs of mains have them from an external meter, 0 of 6 of battery"},
	{analysis.Note{Code: analysis.NoteEfficiencyLeftOut, Name: analysis.BySystem, Count: 2, Of: 5}, "the result per watt of the whole device is left out: only 2 of 5 settings have those watts"},
	{analysis.Note{Code: analysis.NoteRangeNotTested, Count: 1, InLine: 1, Of: 1}, "only 1 setting: which settings are ignored cannot be told"},
	{analysis.Note{Code: analysis.NoteRangeNotTested, Count: 2, InLine: 2, Of: 2}, "only 2 settings: which settings are ignored"},
	{analysis.Note{Code: analysis.NoteRangeNotTested, InLine: 3, Of: 3}, "no package power, and only 3 settings to judge by the results: which settings are ignored"},
	{analysis.Note{Code: analysis.NoteRangeNotTested, InLine: 3, Of: 4}, "no package power, and only 3 settings in line with the trend to judge"},
	{analysis.Note{Code: analysis.NoteRangeWithoutNoise, InLine: 3, Of: 3}, "no package power, and nothing says how much results differ by chance: which settings are ignored"},
	{analysis.Note{Code: analysis.NoteRangeNotTested, Count: 1, InLine: 3, Of: 3}, "package power at only 1 of 3 settings, and only 3 settings to judge by the results: which settings are ignored"},
	{analysis.Note{Code: analysis.NoteRangeByResults, Of: 8}, "no package power: which settings are ignored is told from results alone"},
	{analysis.Note{Code: analysis.NoteRangeByResults, Count: 2, Of: 8}, "package power at only 2 of 8 settings: which settings are ignored is told from results alone"},
	{analysis.Note{Code: analysis.NoteFlatResults}, "do not respond to the setting measurably"},

	{analysis.Note{Code: analysis.NoteNoUsablePower, Group: oakHarbour, Count: 1}, "cores=6: its run has no usable power of the whole device"},
	{analysis.Note{Code: analysis.NoteNoUsablePower, Group: oakHarbour, Count: 3}, "cores=6: none of 3 runs has a usable power of the whole device"},
	{analysis.Note{Code: analysis.NoteLoneRunDown, Group: oakHarbour, Run: "20261124-0123456789ab", Hours: 1.9}, "run 456789ab emptied the battery in 1 h 54 min"},
	{analysis.Note{Code: analysis.NoteOtherSupplies, Count: 1}, "1 run on mains or an unknown supply does not count"},
	{analysis.Note{Code: analysis.NoteOtherSupplies, Count: 5}, "5 runs on mains or an unknown supply do not count"},
	{analysis.Note{Code: analysis.NoteFullEnergyChanges}, "the latest counts"},
	{analysis.Note{Code: analysis.NoteFullEnergyUnknown}, "what the battery holds when full is not known: no runtimes"},
	{analysis.Note{Code: analysis.NotePackNotCounted, Name: "100Wh", Group: analysis.Group{Variant: "pack=100Wh"}}, "not the pack of 100Wh"},
	{analysis.Note{Code: analysis.NoteStartChargeUnknown, Count: 1}, "1 run down to the reserve did not say at which charge it began"},
	{analysis.Note{Code: analysis.NoteOverheadBySetting}, "set watts are taken in their place"},
	{analysis.Note{Code: analysis.NoteNoOverhead}, "it takes three runs at two different powers"},

	{analysis.Note{Code: analysis.NoteOneDevice, A: analysis.NoteSide{Side: "cores=6"}, B: analysis.NoteSide{Side: "cores="}}, "cores=6 against no cores set: one device"},
	{analysis.Note{Code: analysis.NotePriceUnknown, Name: "unit-elm"}, "the price of unit-elm is not known"},
	{analysis.Note{Code: analysis.NoteSamePrice, A: analysis.NoteSide{Side: "unit-elm"}, B: analysis.NoteSide{Side: "unit-oak"}}, "unit-elm and unit-oak cost the same"},
}

func TestNoteSays(t *testing.T) {
	for _, c := range worded {
		if got := Note(c.note); !strings.Contains(got, c.text) {
			t.Errorf("%s: got %q, want %q in it", c.note.Code, got, c.text)
		}
	}
}

// No note orders the reader about: that is for terminals to add.
func TestNoteOrdersNobody(t *testing.T) {
	for _, c := range worded {
		for _, order := range []string{"sweepd", "--", "reject", "repeat it", "repeat them", "repeat each", "state it", "look at"} {
			if text := Note(c.note); strings.Contains(text, order) {
				t.Errorf("%s says %q: %s", c.note.Code, order, text)
			}
		}
	}
}

// codes are the note codes of package analysis, by the names of their constants.
func codes(t *testing.T) map[string]string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "../../analysis/note.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok {
			code, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			found[v.Names[0].Name] = code
		}
		return true
	})
	return found
}

// Every code is in the list above, and so has words.
func TestNoteHasWords(t *testing.T) {
	tested := map[string]bool{}
	for _, c := range worded {
		tested[string(c.note.Code)] = true
		if got := Note(c.note); got == "" || strings.HasSuffix(got, ": ") {
			t.Errorf("%s has no words: %q", c.note.Code, got)
		}
	}
	for name, code := range codes(t) {
		if !tested[code] {
			t.Errorf("analysis.%s is not tested for words", name)
		}
	}
	if len(tested) < 50 {
		t.Errorf("only %d codes were found", len(tested))
	}
}

// Codes are a contract: snake_case as those of findings, each its own, and docs/comparing.md
// lists those that JSON has.
func TestNoteCodes(t *testing.T) {
	page, err := os.ReadFile("../../docs/comparing.md")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for name, code := range codes(t) {
		if !regexp.MustCompile(`^[a-z]+(_[a-z]+)*$`).MatchString(code) {
			t.Errorf("%s is not snake_case: %q", name, code)
		}
		if seen[code] {
			t.Errorf("%s has the code of another: %q", name, code)
		}
		seen[code] = true
		if listed := strings.Contains(string(page), "`"+code+"`"); strings.HasPrefix(name, "Note") && !listed {
			t.Errorf("docs/comparing.md does not list %q", code)
		}
	}
}

func TestObedience(t *testing.T) {
	c := &analysis.Comparison{Notes: []analysis.Note{{Code: analysis.NoteSeveralPairs}, {Code: analysis.NoteSettingsDisobeyed, Side: "unit-oak", At: []analysis.DisobeyedSetting{{SettingW: 5, DrewW: 7}}}}}
	got := Obedience(c)
	if want := (Sentence{Doubtful, "unit-oak drew 7.00 W at 5 W: equal settings are not equal power there."}); len(got) != 1 || got[0] != want {
		t.Errorf("got %v, want %v", got, want)
	}
}
