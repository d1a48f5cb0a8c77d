package main

import (
	"slices"
	"strings"
	"testing"
)

// The shell offers what the data have and what a flag takes, and no files instead.
func TestCompletionOfValues(t *testing.T) {
	campaign(t, alone(t))
	for line, want := range map[string][]string{
		"compare --by ":                 {"device", "supply", "variant"},
		"compare --metric ":             {"fps_mean"},
		"run list --device ":            {"unit-elm", "unit-oak"},
		"run list --device unit-o":      {"unit-oak"},
		"run start --workload ":         {"harbour-flight"},
		"run list --setting 1":          {"10W", "12W", "15W", "18W"},
		"run list --state re":           {"recording", "rejected"},
		"run list --finding hot":        {"hot_start"},
		"run stop --result ":            {"fps_mean="},
		"run list --supply ":            {"mains", "battery"},
		"run watch --variant ":          {"cores=6"},
		"plan new --device unit-e":      {"unit-elm"},
		"report --metric fps":           {"fps_mean"},
		"curve --workload no-such-load": nil,
	} {
		words := strings.Split(line, " ")
		lines := strings.Split(strings.TrimSpace(must(t, append([]string{"__complete"}, words...)...)), "\n")
		got := slices.DeleteFunc(lines, func(s string) bool { // as the shell does
			return strings.HasPrefix(s, ":") || strings.HasPrefix(s, "Completion ended") || !strings.HasPrefix(s, words[len(words)-1])
		})
		if !slices.Equal(got, want) && len(got)+len(want) > 0 {
			t.Errorf("%s offers %v, want %v", line, got, want)
		}
	}
	ids := strings.Split(must(t, "__complete", "run", "show", ""), "\n")
	if len(ids) < 50 || !strings.Contains(ids[0], "\tharbour-flight 35W battery ") || !strings.Contains(strings.Join(ids, "\n"), "\nlast\t") {
		t.Errorf("run show offers %q ...", ids[:min(3, len(ids))])
	}
	if out := must(t, "__complete", "run", "show", ids[0][:8], ""); !strings.HasPrefix(out, ":") {
		t.Errorf("a second run is offered: %s", out)
	}
}

// Without data nothing is offered, and nothing is said.
func TestCompletionWithoutData(t *testing.T) {
	alone(t)
	if o := sweepd(t, "__complete", "run", "list", "--device", ""); o.code != exitOK || !strings.HasPrefix(o.out, ":") {
		t.Errorf("%+v", o)
	}
}
