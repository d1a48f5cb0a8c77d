package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sweepd/actuators"
)

const (
	setProfile = "firmware/acpi/platform_profile"
	setLimit   = "class/powercap/rapl:0/constraint_0_power_limit_uw"
)

// leftSet is a machine on which an agent that kept its data in dir set a profile and a
// limit, and died.
func leftSet(t *testing.T, dir string) (has func(place string) string, sys string) {
	t.Helper()
	sys = t.TempDir()
	t.Setenv("HOST_SYS", sys)
	first, err := actuators.OpenFirstValues(dir, actuators.FirstValuesOptions{Root: sys})
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range []actuators.Write{
		{Actuator: "profile", Path: filepath.Join(sys, setProfile), Text: "performance", Was: "balanced"},
		{Actuator: "powercap", Path: filepath.Join(sys, setLimit), Text: "25000000", Was: "15000000"},
	} {
		if err := os.MkdirAll(filepath.Dir(w.Path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(w.Path, []byte(w.Was+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		if err := first.Set(t.Context(), actuators.Host{Sys: sys}, w); err != nil {
			t.Fatal(err)
		}
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	has = func(place string) string {
		text, err := os.ReadFile(filepath.Join(sys, place))
		if err != nil {
			t.Fatal(err)
		}
		return strings.TrimSpace(string(text))
	}
	if has(setProfile) != "performance" || has(setLimit) != "25000000" {
		t.Fatal("nothing was set")
	}
	return has, sys
}

func TestActuatorsRestore(t *testing.T) {
	dir := alone(t)
	t.Setenv("HOST_SYS", t.TempDir())
	if out := must(t, "actuators", "restore"); !strings.HasPrefix(out, "nothing to put back") {
		t.Errorf("%s", out)
	}
	// The service manager calls it with the agent's options each time the agent ends.
	if o := sweepd(t, "actuators", "restore", "--after-agent", "--listen", "127.0.0.1:0", "--web.systemd-socket"); o.code != exitOK || o.out+o.stderr != "" {
		t.Errorf("after an agent that set nothing: %+v", o)
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("it left %v", left)
	}
	if o := sweepd(t, "actuators", "restore", "--data", dir+"x"); o.code != exitFailed || !strings.Contains(o.stderr, "no such folder") {
		t.Errorf("a slip in the folder: %+v", o)
	}

	has, sys := leftSet(t, dir)
	wantWords(t, must(t, "actuators", "restore"),
		filepath.Join(sys, setLimit)+" has its first value again: 15000000, after 25000000",
		filepath.Join(sys, setProfile)+" has its first value again: balanced, after performance")
	if has(setProfile) != "balanced" || has(setLimit) != "15000000" {
		t.Errorf("%s, %s", has(setProfile), has(setLimit))
	}
	if out := must(t, "actuators", "restore"); !strings.HasPrefix(out, "nothing to put back") {
		t.Errorf("twice: %s", out)
	}
}

// What cannot be put back is told with what to type, kept, and given up when asked for.
func TestActuatorsRestoreGivesUp(t *testing.T) {
	dir := alone(t)
	has, sys := leftSet(t, dir)
	gone := filepath.Join(sys, setProfile)
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		o := sweepd(t, "actuators", "restore", "--json")
		var r restored
		if err := json.Unmarshal([]byte(o.out), &r); err != nil || o.code != exitFailed || len(r.Left) != 1 || r.Left[0].ByHand != "echo balanced | sudo tee "+gone || r.GivenUp == nil {
			t.Fatalf("%v, %+v", err, o)
		}
		wantWords(t, o.stderr, gone+` may still have "performance", its first value is "balanced"`, "no such file or directory; by hand: echo balanced")
	}
	if has(setLimit) != "15000000" {
		t.Errorf("the other one has %s", has(setLimit))
	}
	wantWords(t, must(t, "actuators", "restore", "--give-up"), gone+" is given up: it stays as it is, its first value was balanced")
	if out := must(t, "actuators", "restore"); !strings.HasPrefix(out, "nothing to put back") {
		t.Errorf("%s", out)
	}
}

// While another process sets the machine nothing is put back under it.
func TestActuatorsRestoreBesideADay(t *testing.T) {
	dir := alone(t)
	has, sys := leftSet(t, dir)
	first, err := actuators.OpenFirstValues(t.TempDir(), actuators.FirstValuesOptions{Root: sys})
	if err != nil {
		t.Fatal(err)
	}
	defer first.Close()
	if err := first.Keep(t.Context(), actuators.Write{Actuator: "cores", Path: filepath.Join(sys, "devices/system/cpu/cpu1/online"), Text: "0", Was: "1"}); err != nil {
		t.Fatal(err)
	}
	if o := sweepd(t, "actuators", "restore"); o.code != exitFailed || !strings.Contains(o.stderr, "sweepd plan stop") || has(setProfile) != "performance" {
		t.Errorf("%+v, %s", o, has(setProfile))
	}
}

// The agent puts back first of all: also where its configuration keeps it from starting.
func TestAgentRestoresFirst(t *testing.T) {
	dir := alone(t)
	has, _ := leftSet(t, dir)
	bad := filepath.Join(t.TempDir(), "sweepd.yaml")
	if err := os.WriteFile(bad, []byte("interval: 7 parsecs\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if o := sweepd(t, "agent", "--config", bad); o.code == exitOK || !strings.Contains(o.stderr, "it has its first value again") {
		t.Errorf("%+v", o)
	}
	if has(setProfile) != "balanced" || has(setLimit) != "15000000" {
		t.Errorf("%s, %s", has(setProfile), has(setLimit))
	}
	// So does the command for the service manager then.
	has, _ = leftSet(t, dir)
	if o := sweepd(t, "actuators", "restore", "--after-agent", "--config", bad); o.code != exitOK || has(setProfile) != "balanced" {
		t.Errorf("%+v, %s", o, has(setProfile))
	}
}
