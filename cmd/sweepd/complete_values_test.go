package main

import (
	"slices"
	"strings"
	"testing"

	"github.com/spf13/pflag"
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

// noNames are what flags and arguments take that nobody can offer: numbers, times, texts;
// and what an agent alone knows, which none answers here.
var noNames = []string{"URL", "HOST:PORT", "SHARE", "WHEN", "TIME", "TEXT", "N", "NUMBER", "WATTS", "COLUMN", "23C", "CELSIUS", "120Hz", "5m", "3.2s", "VERSION",
	"FILE", "DIR", "PATH", "NAME=FILE", "FILE.csv", "FILE.yaml|FILE.csv", "OTHER.db", "PAIRED"}

// Whatever takes a device, a workload, a variant, a run, a metric, a finding, a plan or a
// supply offers those that there are: no flag and no argument of any command is forgotten.
func TestAllThatTakesNamesOffersThem(t *testing.T) {
	campaign(t, alone(t))
	must(t, "plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "8-28/4")
	offered := func(words ...string) (n int) {
		for line := range strings.Lines(must(t, append([]string{"__complete"}, words...)...)) {
			if !strings.HasPrefix(line, ":") && !strings.HasPrefix(line, "Completion ended") {
				n++
			}
		}
		return n
	}
	tried := 0
	for _, c := range shownCommands((&app{getenv: func(string) string { return "" }}).root()) {
		path := strings.Fields(c.CommandPath())[1:]
		c.LocalFlags().VisitAll(func(f *pflag.Flag) {
			what, _ := pflag.UnquoteUsage(f)
			if what == "" || slices.Contains(noNames, what) {
				return
			}
			tried++
			if offered(append(slices.Clone(path), "--"+f.Name, "")...) == 0 {
				t.Errorf("%s --%s %s offers nothing", c.CommandPath(), f.Name, what)
			}
		})
		given := slices.Clone(path)
		for _, what := range wordsTaken(c.Use) {
			if what = strings.TrimSuffix(what, "..."); !slices.Contains(noNames, what) && c.Name() != "help" {
				if tried++; offered(append(slices.Clone(given), "")...) == 0 {
					t.Errorf("%s %s offers nothing", c.CommandPath(), what)
				}
			}
			given = append(given, "x")
		}
	}
	if tried < 100 {
		t.Errorf("only %d flags and arguments were tried", tried)
	}
}
