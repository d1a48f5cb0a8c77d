package sentence

import (
	"encoding/json"
	"strings"
	"testing"

	"sweepd/analysis"
)

// Notes stand in JSON as lists of text where they always did, each with its code, and
// a list without any is empty.
func TestNotesInJSON(t *testing.T) {
	u := analysis.Unknown()
	notes := []analysis.Note{{Code: analysis.NoteNothingShared}}
	for _, c := range []struct {
		value any
		want  string // in this order
	}{
		{CompareAsJSON(analysis.CompareResult{Comparisons: []analysis.Comparison{{Workload: "tile-sort", Confounders: []analysis.Note{{Code: analysis.ConfounderDevices, Names: []string{"host_model"}}}, Notes: notes}}}),
			`"workload":"tile-sort" "confounders":["the devices differ in model"] "notes":["the sides share no setting: nothing can be compared"] "note_codes":["nothing_shared"] "note_facts":[{"code":"nothing_shared"}]} "notes":[] "note_codes":[]`},
		{CurveAsJSON(analysis.CurveResult{Groups: []analysis.CurveGroup{{Workload: "tile-sort", Noise: u, KneeW: u}}, Notes: notes}), `"workload":"tile-sort" "notes":[] "note_codes":[] "note_facts":[]} "notes":["the sides share no setting: nothing can be compared"] "note_codes":["nothing_shared"] "note_facts":[{"code":"nothing_shared"}]}`},
		{BatteryAsJSON(analysis.BatteryResult{Groups: []analysis.BatteryGroup{{Workload: "tile-sort", Notes: notes}}}), `"workload":"tile-sort" "notes":["the sides share no setting: nothing can be compared"] "note_codes":["nothing_shared"] "note_facts":[{"code":"nothing_shared"}]} "notes":[] "note_codes":[]`},
		{ValueAsJSON(&analysis.ValueResult{Notes: notes}), `"values":null "notes":["the sides share no setting: nothing can be compared"] "note_codes":["nothing_shared"]`},
		{ValueAsJSON(nil), `null`},
	} {
		text, err := json.Marshal(c.value)
		if err != nil {
			t.Fatal(err)
		}
		rest := string(text)
		for _, part := range strings.Split(strings.ReplaceAll(c.want, ` "`, "\x00\""), "\x00") {
			_, after, found := strings.Cut(rest, part)
			if !found {
				t.Fatalf("lacks %s: %s", part, text)
			}
			rest = after
		}
		if strings.Contains(string(text), `"notes":null`) || strings.Contains(string(text), `"note_codes":null`) || strings.Count(string(text), `"comparisons"`) > 1 || strings.Count(string(text), `"groups"`) > 1 {
			t.Errorf("got %s", text)
		}
	}
}
