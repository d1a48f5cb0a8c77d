package analysis

import (
	"testing"

	"sweepd/run"
)

// A device that does not go below 7 W is compared at 5 W set: the reader must
// know what it drew.
func TestDisobeyedSettingsAreNoted(t *testing.T) {
	var runs []run.Run
	for _, device := range []string{"unit-oak", "unit-elm"} {
		for _, w := range []float64{5, 10, 15} {
			for rep := range 4 {
				r := run.Run{ID: device, Labels: run.Labels{Device: device, Workload: "harbour-flight", Setting: run.Watts(w).From(run.Declared), Supply: "mains"},
					Results: map[string]run.Result{"score": {Value: w*10 + float64(rep)/10}}}
				p := w
				if device == "unit-oak" && w == 5 {
					p, r.Findings = 7, []run.Finding{{Code: run.SettingDisobeyed}}
				}
				if device == "unit-oak" && w == 10 && rep < 2 { // half of the runs are not most
					r.Findings = []run.Finding{{Code: run.SettingDisobeyed}}
				}
				r.PackageW = &p
				runs = append(runs, r)
			}
		}
	}
	notes := func(at string) []Note {
		result, err := Compare(runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm", At: at})
		if err != nil {
			t.Fatal(err)
		}
		return result.Comparisons[0].Notes
	}
	if want := (Note{Code: NoteSettingsDisobeyed, Side: "unit-oak", At: []DisobeyedSetting{{SettingW: 5, DrewW: 7}}}); !has(notes(AtSetting), want) {
		t.Errorf("notes %+v, want %+v", notes(AtSetting), want)
	}
	if _, ok := oneOf(notes(AtPackage), NoteSettingsDisobeyed); ok {
		t.Error("at equal measured watts there is nothing to warn of")
	}
}
