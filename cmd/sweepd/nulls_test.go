package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// at walks into a JSON value by keys and indices.
func at(t *testing.T, v any, path ...any) any {
	t.Helper()
	for _, step := range path {
		switch s := step.(type) {
		case string:
			object, ok := v.(map[string]any)
			x, there := object[s]
			if !ok || !there {
				t.Fatalf("%v: no %q in %v", path, s, v)
			}
			v = x
		case int:
			list, ok := v.([]any)
			if !ok || s >= len(list) {
				t.Fatalf("%v: no element %d in %v", path, s, v)
			}
			v = list[s]
		}
	}
	return v
}

// listKeys are the keys of lists in the contract, which are never null.
var listKeys = []string{"comparisons", "settings", "bands", "crossings", "flagged", "confounders", "notes", "groups", "points", "departures", "gains"}

func noNullLists(t *testing.T, args string, v any) {
	t.Helper()
	switch x := v.(type) {
	case map[string]any:
		for key, value := range x {
			for _, list := range listKeys {
				if key == list && value == nil {
					t.Errorf("%s: the list %s is null", args, key)
				}
			}
			noNullLists(t, args, value)
		}
	case []any:
		for _, value := range x {
			noNullLists(t, args, value)
		}
	}
}

// TestUnknownIsNull holds the analyses to the contract where something is not
// known: null, never left out, never NaN; lists are never null; what is the same on
// both sides is given, else null.
func TestUnknownIsNull(t *testing.T) {
	file := filepath.Join(alone(t), "few.csv")
	table := `device,workload,variant,supply,setting_w,package_w,system_w,score
unit-oak,tile-sort,cores=6,battery,10,,20,50
unit-oak,tile-sort,cores=6,battery,10,,21,51
unit-oak,tile-sort,cores=6,battery,15,,,60
unit-elm,tile-sort,cores=6,battery,10,,,52
unit-elm,tile-sort,cores=6,battery,20,,,53
`
	if err := os.WriteFile(file, []byte(table), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "import", file)
	read := func(args string) any {
		var v any
		if err := json.Unmarshal([]byte(must(t, append(strings.Fields(args), "--json")...)), &v); err != nil {
			t.Fatal(args, err)
		}
		noNullLists(t, args, v)
		return v
	}
	null := func(v any, path ...any) {
		t.Helper()
		if x := at(t, v, path...); x != nil {
			t.Errorf("%v is %v, want null", path, x)
		}
	}
	is := func(want any, v any, path ...any) {
		t.Helper()
		if x := at(t, v, path...); x != want {
			t.Errorf("%v is %v, want %v", path, x, want)
		}
	}

	v := read("compare --by device --a unit-oak --b unit-elm")
	c := at(t, v, "comparisons", 0)
	null(v, "across")
	null(v, "value")
	null(c, "device")
	is("battery", c, "supply")
	is("cores=6", c, "variant")
	is(15.0, c, "settings", 1, "setting_w")
	is(0.0, c, "settings", 1, "n_b")
	is("unclear", c, "settings", 1, "verdict")
	for _, key := range []string{"mean_b", "diff", "lower", "upper", "se", "df", "p_adjusted", "more_runs"} {
		null(c, "settings", 1, key)
	}
	if x := at(t, c, "settings", 1, "mean_a"); x == nil {
		t.Error("the mean of the side that has runs is null")
	}

	v = read("curve")
	g := at(t, v, "groups", 1) // unit-oak
	for _, key := range []string{"package_w", "per_package_w"} {
		null(g, "points", 0, key)
	}
	if at(t, g, "points", 0, "system_w") == nil || at(t, g, "points", 0, "per_setting_w") == nil {
		t.Errorf("known watts are null: %v", at(t, g, "points", 0))
	}
	null(g, "points", 1, "system_w")
	null(g, "effective", "floor_w")
	null(g, "effective", "cap_w")
	null(g, "knee_w") // two settings

	v = read("battery")
	g = at(t, v, "groups", 0)
	null(g, "full_energy_wh")
	for _, key := range []string{"runtime_h", "runtime_lower_h", "runtime_upper_h"} {
		null(g, "points", 0, key)
	}
	for _, key := range []string{"intercept_w", "intercept_lower_w", "intercept_upper_w", "slope", "slope_lower", "slope_upper"} {
		null(g, "overhead", key)
	}
	if x := at(t, read("compare --by device --price unit-oak=2EUR --price unit-elm=1EUR"), "value", "values", 0, "dearer"); x != "unit-oak" {
		t.Errorf("dearer %v", x)
	}
}
