package main

import (
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"
)

// contract is what the JSON of each command holds, as DEVELOPERS.md promises:
// fields may be added and are never renamed. A key that ends in [] is a list of
// objects with the keys after it, one that ends in {} an object.
var contract = map[string]string{
	"run list --json": `[] id device workload setting{watts name source} supply variant{} state setting_read started_at duration_s
		results{fps_mean{value unit better}} findings[code severity text]`,
	"run show last --json": `id device workload setting{watts name source} supply variant{} state setting_read started_at duration_s
		results{fps_mean{value unit better}} findings[code severity text]
		summaries[sensor instance unit mean min max p95 first last energy_joules]
		discharge{watts uncertainty_watts from_power_watts from_energy_watts} facts{}
		history{results[name result{value unit better} set_at replaced_at] decisions[at what who why]}`,
	"compare --by device --supply mains --json": `comparisons[metric workload factor a b device supply variant margin confidence noise_a
		noise_b blocks settings[setting_w n_a n_b mean_a mean_b diff lower upper se df p_adjusted verdict more_runs followed package_w_a package_w_b]
		bands[from_w to_w verdict diff lower upper] crossings[at_w lower_w upper_w] overall{diff lower upper verdict}
		bands_followed[from_w to_w verdict diff lower upper] crossings_followed[at_w lower_w upper_w] overall_followed{diff lower upper verdict} flagged[run setting_w]
		confounders[] notes[]] across`,
	"curve --json": `metric groups[device workload variant supply noise
		points[setting_w n mean lower upper package_w system_w per_package_w per_system_w per_setting_w]
		effective{from_w to_w floor_w cap_w} efficiency{by peak_w from_w to_w} enough{at_w share from_w to_w} knee_w
		departures[setting_w change p_adjusted]]`,
	"battery --json": `groups[device workload variant full_energy_wh
		points[setting_w n system_w lower upper runtime_h runtime_lower_h runtime_upper_h]
		overhead{against intercept_w intercept_lower_w intercept_upper_w slope slope_lower slope_upper}
		gains[variant setting_w minutes lower upper]]`,
	"sensors --for 1ms --json": `[] sensor instance unit value source read_us refresh_s missing`,
	"actuators --json":         `[] actuator sets sources[] now unit min max increment choices[] missing writable allowed needs`,
}

func TestJSONContract(t *testing.T) {
	campaign(t, alone(t))
	for args, shape := range contract {
		var v any
		if err := json.Unmarshal([]byte(must(t, strings.Fields(args)...)), &v); err != nil {
			t.Errorf("%s: %v", args, err)
			continue
		}
		s := readShape(strings.Fields(strings.NewReplacer("[", " [ ", "]", " ] ", "{", " { ", "}", " } ").Replace(shape)))
		s.check(t, args, v)
	}
}

// shape is what a JSON value has to be.
type shape struct {
	kind   byte // 0 for any value, '[' for a list, '{' for an object
	fields map[string]*shape
}

// readShape reads a whole contract: an object, or a list where it begins with
// [].
func readShape(words []string) *shape {
	s := &shape{kind: '{', fields: map[string]*shape{}}
	if len(words) > 1 && words[0] == "[" && words[1] == "]" {
		s.kind, words = '[', words[2:]
	}
	for len(words) > 0 {
		words = s.readField(words)
	}
	return s
}

func (s *shape) readField(words []string) (rest []string) {
	field := &shape{fields: map[string]*shape{}}
	s.fields[words[0]] = field
	words = words[1:]
	if len(words) == 0 || words[0] != "[" && words[0] != "{" {
		return words
	}
	field.kind = words[0][0]
	for words = words[1:]; words[0] != "]" && words[0] != "}"; {
		words = field.readField(words)
	}
	return words[1:]
}

func (s *shape) check(t *testing.T, path string, v any) {
	t.Helper()
	switch s.kind {
	case 0:
		return
	case '[':
		list, ok := v.([]any)
		if !ok {
			t.Errorf("%s is %T, want a list", path, v)
			return
		}
		object := &shape{'{', s.fields}
		for _, x := range list[:min(3, len(list))] {
			if len(s.fields) > 0 {
				object.check(t, path+"[]", x)
			}
		}
	case '{':
		object, ok := v.(map[string]any)
		if !ok {
			t.Errorf("%s is %T, want an object", path, v)
			return
		}
		for _, name := range slices.Sorted(maps.Keys(s.fields)) {
			x, there := object[name]
			if !there {
				t.Errorf("%s lacks %q: unknown is null, never left out", path, name)
				continue
			}
			s.fields[name].check(t, path+"."+name, x)
		}
	}
}

// TestJSONUnknowns holds what is not known to null, and lists and maps that are
// empty to being there.
func TestJSONUnknowns(t *testing.T) {
	campaign(t, alone(t))
	var runs []map[string]any
	if err := json.Unmarshal([]byte(must(t, "run", "list", "--json", "--supply", "mains")), &runs); err != nil || len(runs) != 48 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	r := runs[0]
	if r["setting_read"] != nil || r["system_w"] != nil {
		t.Errorf("unknown: %v %v", r["setting_read"], r["system_w"])
	}
	if findings, ok := r["findings"].([]any); !ok || len(findings) != 0 {
		t.Errorf("no findings: %v", r["findings"])
	}
	at, ok := r["started_at"].(string)
	if _, err := time.Parse("2006-01-02T15:04:05.000Z", at); !ok || err != nil {
		t.Errorf("time %q: want RFC 3339 in UTC with milliseconds", at)
	}
	var d map[string]any
	if err := json.Unmarshal([]byte(must(t, "run", "show", runs[0]["id"].(string), "--json")), &d); err != nil {
		t.Fatal(err)
	}
	discharge, ok := d["discharge"].(map[string]any)
	if !ok || discharge["watts"] != nil || len(discharge) != 4 {
		t.Errorf("discharge on mains without a battery: %v", d["discharge"])
	}
	if out := must(t, "run", "list", "--json", "--workload", "no-such"); strings.TrimSpace(out) != "[]" {
		t.Errorf("no runs: %q", out)
	}
}
