package main

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sweepd/internal/simdevice"
	"sweepd/testday"
)

// rawIDs are what the systems of the machines of these tests are told by.
var rawIDs = map[string]string{"one": "0f1e2d3c4b5a69788796a5b4c3d2e1f0", "other": "a0b1c2d3e4f5061728394a5b6c7d8e9f"}

// machineOfTest gives the simulated device the id of a machine, and hides that of its
// firmware, as it is from all users but root.
func machineOfTest(t *testing.T, d *simdevice.Device, which string) {
	t.Helper()
	if err := os.Remove(filepath.Join(d.SysRoot(), "class", "dmi", "id", "product_uuid")); err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(d.EtcRoot(), "machine-id"), []byte(rawIDs[which]+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
}

// oneRun records a run into a folder by an agent with these flags.
func oneRun(t *testing.T, data string, flags ...string) {
	t.Helper()
	a := startAgent(t, append(flags, "--data", data)...)
	must(t, "run", "start", "--workload", "harbour-flight", "--setting", "25W")
	must(t, "run", "stop", "--result", "fps_mean=60fps")
	if code := a.stop(); code != exitOK {
		t.Fatalf("the agent ended with %d: %s", code, a.log)
	}
}

// TestTwoDevicesNeverBecomeOneByAccident merges the data of a second unit that has the
// name of the first, as two units with the name of their distribution do.
func TestTwoDevicesNeverBecomeOneByAccident(t *testing.T) {
	here := alone(t)
	there := t.TempDir()
	config := filepath.Join(t.TempDir(), "sweepd.yaml")
	if err := os.WriteFile(config, []byte("device: unit-oak\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	d := liveDevice(t)
	machineOfTest(t, d, "one")
	oneRun(t, here, "--config", config)
	machineOfTest(t, d, "other")
	oneRun(t, there, "--config", config)

	o := sweepd(t, "merge", there)
	if o.code != exitFailed || !strings.Contains(o.stderr, "unit-oak is one machine here and another there") ||
		!strings.Contains(o.stderr, "sweepd device rename unit-oak NEW") || !strings.Contains(o.stderr, "--same-device unit-oak") {
		t.Errorf("merge: exit %d, %s", o.code, o.stderr)
	}
	if list := asked[[]testday.Device](t, "device list"); len(list) != 1 || list[0].Runs != 1 || len(list[0].Machines) != 1 {
		t.Errorf("something was merged: %+v", list)
	}
	if o := sweepd(t, "merge", there, "--same-device", "unit-elm"); o.code != exitFailed {
		t.Errorf("merge by the name of another: exit %d", o.code)
	}

	// Whoever says that they are one gets both, and is told everywhere.
	must(t, "merge", there, "--same-device", "unit-oak")
	list := asked[[]testday.Device](t, "device list")
	if len(list) != 1 || list[0].Runs != 2 || len(list[0].Machines) != 2 || list[0].Differ == "" || len(list[0].Machines[0].ID) != 4 {
		t.Errorf("device list: %+v", list)
	}
	if out := flat(must(t, "device", "list")); !strings.Contains(out, "unit-oak: runs of 2 machines, their systems have different ids") {
		t.Errorf("device list:\n%s", out)
	}
	for _, args := range [][]string{{"curve"}, {"curve", "--json"}} {
		out := flat(must(t, args...))
		if !strings.Contains(out, "runs of unit-oak were recorded on 2 machines") || args[len(args)-1] == "--json" && !strings.Contains(out, `"several_machines"`) {
			t.Errorf("%v does not note it:\n%s", args, out)
		}
	}
	must(t, "check")

	// What the systems are told by is neither stored nor shown.
	shown := must(t, "run", "show", "last", "--all") + must(t, "run", "show", "last", "--json")
	stored, err := os.ReadFile(filepath.Join(here, "sweepd.db"))
	if err != nil {
		t.Fatal(err)
	}
	for _, raw := range rawIDs {
		if strings.Contains(shown, raw) || bytes.Contains(stored, []byte(raw)) || strings.Contains(shown, raw[:8]) {
			t.Errorf("the id %s is told", raw)
		}
	}
	must(t, "report", "--out", filepath.Join(here, "report"))
	page, err := os.ReadFile(filepath.Join(here, "report", "report.html"))
	if err != nil || strings.Contains(string(page), "id of the system") {
		t.Errorf("the page tells ids, %v", err)
	}
}

// TestADeviceIsRenamed gives the device another name while the agent watches it, with a
// plan, and takes that back.
func TestADeviceIsRenamed(t *testing.T) {
	alone(t)
	t.Setenv("SWEEPD_DATA", "")
	data := t.TempDir()
	config := filepath.Join(t.TempDir(), "sweepd.yaml")
	if err := os.WriteFile(config, []byte("data: "+data+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("SWEEPD_CONFIG", config)
	d := liveDevice(t)
	machineOfTest(t, d, "one")
	a := startAgent(t)
	watched := func() testday.Status {
		t.Helper()
		o := asked[testday.Overview](t, "status")
		if o.Agent == nil {
			t.Fatalf("no agent answers: %+v", o)
		}
		return *o.Agent
	}
	before := watched().Device
	must(t, "plan", "new", "--workload", "harbour-flight", "--settings", "25W", "--supply", "battery", "--repeats", "2")
	record := func() {
		t.Helper()
		must(t, "run", "start", "--workload", "harbour-flight", "--setting", "25W")
		must(t, "run", "stop", "--result", "fps_mean=60fps")
	}
	record()
	devices := func(want string, runs int) {
		t.Helper()
		list := asked[[]testday.Device](t, "device list")
		if len(list) != 1 || list[0].Device != want || list[0].Runs != runs {
			t.Errorf("devices: %+v, want %d runs of %s", list, runs, want)
		}
	}

	must(t, "run", "start", "--workload", "harbour-flight", "--setting", "25W")
	if o := sweepd(t, "device", "rename", before, "unit-oak"); o.code != exitFailed || !strings.Contains(o.stderr, "recording") {
		t.Errorf("while a run is recording: exit %d, %s", o.code, o.stderr)
	}
	must(t, "run", "stop", "--result", "fps_mean=61fps")
	for args, says := range map[string]string{
		"nobody unit-oak":              "there is no device nobody",
		before + "x unit-oak":          "did you mean " + before,
		before + " " + before:          "is its name already",
		before + " unit-oak --undo":    "was not renamed",
		before + " unit-oak\x07":       "control",
		before + " unit-oak --dry-run": "",
	} {
		o := sweepd(t, append([]string{"device", "rename"}, strings.Split(args, " ")...)...)
		if (o.code == exitOK) != (says == "") || !strings.Contains(o.stderr, says) {
			t.Errorf("rename %s: exit %d, %s%s", args, o.code, o.out, o.stderr)
		}
	}
	devices(before, 2)

	if out := flat(must(t, "device", "rename", before, "unit-oak")); !strings.Contains(out, before+" is unit-oak: 2 runs, 1 plan") || strings.Contains(out, "start it anew") {
		t.Errorf("rename says %q", out)
	}
	devices("unit-oak", 2)
	if s := watched(); s.Device != "unit-oak" || s.Setting.String() != "25W" {
		t.Errorf("the agent watches %s at %s", s.Device, s.Setting)
	}
	if out := must(t, "plan", "status"); !strings.Contains(out, "2 done, 0 left") {
		t.Errorf("the plan did not follow:\n%s", out)
	}
	record()
	devices("unit-oak", 3)
	must(t, "check")
	a.stop()

	// The next agent goes on with the name, and what was merged elsewhere before is known.
	startAgent(t)
	if s := watched(); s.Device != "unit-oak" {
		t.Errorf("the next agent watches %s", s.Device)
	}
	elsewhere := t.TempDir()
	must(t, "merge", data, "--data", elsewhere)
	must(t, "device", "rename", before, "unit-oak", "--undo")
	list := asked[[]testday.Device](t, "device list")
	if len(list) != 2 || list[0].Runs+list[1].Runs != 3 {
		t.Errorf("taken back: %+v", list)
	}
	if o := sweepd(t, "merge", data, "--data", elsewhere); o.code != exitOK {
		t.Errorf("merged again: exit %d, %s", o.code, o.stderr)
	}
	// The agent that watches a device of the same name holds another folder.
	if out := flat(must(t, "device", "rename", watched().Device, "unit-ash", "--data", elsewhere)); strings.Contains(out, "start it anew") {
		t.Errorf("in another folder: %q", out)
	}
	if out := flat(must(t, "device", "rename", watched().Device, "unit-ash", "--data", data)); !strings.Contains(out, "start it anew") {
		t.Errorf("in its own folder: %q", out)
	}
	must(t, "check")
}

// flat is a text without the line breaks of a terminal.
func flat(text string) string { return strings.Join(strings.Fields(text), " ") }

// TestAStoreWithRunsKeepsItsDevice takes the name out of the configuration, and changes it.
func TestAStoreWithRunsKeepsItsDevice(t *testing.T) {
	data := alone(t)
	config := filepath.Join(t.TempDir(), "sweepd.yaml")
	say := func(text string) {
		t.Helper()
		if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	d := liveDevice(t)
	machineOfTest(t, d, "one")
	say("device: unit-oak\n")
	oneRun(t, data, "--config", config)
	say("interval: 250ms\n")
	oneRun(t, data, "--config", config)
	if list := asked[[]testday.Device](t, "device list"); len(list) != 1 || list[0].Device != "unit-oak" || list[0].Runs != 2 {
		t.Errorf("device list: %+v", list)
	}
	must(t, "plan", "new", "--workload", "harbour-flight", "--settings", "25W", "--supply", "battery")
	if out := must(t, "plan", "next"); !strings.Contains(out, "unit-oak") {
		t.Errorf("the plan is of another device: %s", out)
	}

	say("device: unit-elm\n")
	a := startAgent(t, "--config", config)
	if !strings.Contains(a.log.String(), "sweepd device rename unit-oak unit-elm") {
		t.Errorf("the agent does not warn: %s", a.log)
	}
	a.stop()
}
