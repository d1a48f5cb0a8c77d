package main

import (
	"regexp"
	"strings"
	"testing"
)

// A run that takes its labels from the plan declares the setting for the plan, and the
// answers say so.
func TestThePlanDeclares(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	d.do("plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "15", "--supply", "mains")
	d.do("run", "start")
	wantWords(t, d.do("setting"), "15W (declared just now by the plan)")
	d.do("run", "stop")
}

// Whoever follows the wrong plan goes back to the right one: each keeps its number, its
// runs and what was appended to it.
func TestFollowingTheWrongPlan(t *testing.T) {
	alone(t)
	for _, settings := range []string{"15", "20,25", "28"} {
		must(t, "plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", settings, "--supply", "mains", "--repeats", "1", "--replace")
	}
	list := func(want ...string) {
		t.Helper()
		var got []string
		for _, line := range strings.Split(must(t, "plan", "list"), "\n")[1:] {
			if f := regexp.MustCompile(`^ *(\d+) .* (\d+) +\d+ +\d+ *(in force)?$`).FindStringSubmatch(line); f != nil {
				got = append(got, strings.TrimSpace(f[1]+": "+f[2]+" "+f[3]))
			}
		}
		if strings.Join(got, "; ") != strings.Join(want, "; ") {
			t.Errorf("%q, want %q", got, want)
		}
	}
	list("1: 1", "2: 2", "3: 1 in force")
	wantWords(t, must(t, "plan", "follow", "1"), "plan 1 ")
	list("1: 1 in force", "2: 2", "3: 1")
	must(t, "plan", "extend", "--repeats", "2")
	wantWords(t, must(t, "plan", "follow", "2"), "plan 2 ")
	list("1: 3", "2: 2 in force", "3: 1")
	if o := sweepd(t, "plan", "follow", "2"); o.code != exitFailed || !strings.Contains(o.stderr, "plan 2 is in force already") {
		t.Errorf("followed twice: %+v", o)
	}
	must(t, "plan", "follow", "3")
	must(t, "plan", "follow", "1")
	list("1: 3 in force", "2: 2", "3: 1")
	wantWords(t, must(t, "plan", "status"), "plan 1 ")
	if o := sweepd(t, "plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "30"); o.code != exitFailed || !strings.Contains(o.stderr, "plan 1 is in force") {
		t.Errorf("a new one: %+v", o)
	}
}
