package main

import (
	"strings"
	"testing"
	"time"

	"sweepd/internal/simdevice"
	"sweepd/run"
	"sweepd/testday"
)

// A declared setting is in force after the agent was started anew, and after the machine
// was; it is shown with its age and what declared it, until it is taken back.
func TestDeclaredSettingOutlivesTheAgent(t *testing.T) {
	alone(t)
	liveDevice(t)
	a := startAgent(t)
	must(t, "setting", "15W")
	if code := a.stop(); code != exitOK {
		t.Fatalf("the agent ended with %d: %s", code, a.log)
	}
	a = startAgent(t)
	if out := must(t, "setting"); out != "15W (declared just now by sweepd setting); the system reports 15W (firmware)\n" {
		t.Errorf("setting: %q", out)
	}
	if out := words(must(t, "status")); !strings.Contains(out, "setting: 15W (declared just now by sweepd setting)") {
		t.Errorf("status: %s", out)
	}
	if s := asked[testday.Overview](t, "status").Agent; s == nil || s.Declared == nil || s.Declared.Setting != run.Watts(15) || s.Declared.By != "sweepd setting" || s.Declared.Restarted || time.Since(s.Declared.At.Time) > time.Minute {
		t.Errorf("status: %+v", s)
	}
	if o := sweepd(t, "run", "start", "--workload", "tile-sort"); o.code != exitOK || !strings.Contains(o.out, "tile-sort, setting 15W (declared just now by sweepd setting), on ") {
		t.Errorf("run start: %+v", o)
	}
	must(t, "run", "stop", "--result", "score=3")
	must(t, "run", "start", "--workload", "tile-sort", "--setting", "20W")
	must(t, "run", "stop", "--result", "score=3")
	if code := a.stop(); code != exitOK {
		t.Fatalf("the agent ended with %d: %s", code, a.log)
	}

	// The machine is started anew: its firmware reports 15 W, and what a run declared counts.
	liveDeviceOf(t, simdevice.UnitOak(), 61*time.Minute)
	a = startAgent(t)
	if out := words(must(t, "setting")); !strings.HasPrefix(out, "20W (declared just now by sweepd run start); the system reports 15W (firmware); the machine was started anew since") {
		t.Errorf("setting: %q", out)
	}
	o := sweepd(t, "run", "start", "--workload", "tile-sort")
	if o.code != exitOK || !strings.Contains(words(o.stderr), "20W was declared, but the system reports 15W (firmware), finding setting_disagrees") {
		t.Errorf("run start: %+v", o)
	}
	must(t, "run", "stop", "--result", "score=3")
	if out := must(t, "setting", "--clear"); out != "15W (firmware)\n" {
		t.Errorf("setting --clear: %q", out)
	}
	if code := a.stop(); code != exitOK {
		t.Fatalf("the agent ended with %d: %s", code, a.log)
	}
	startAgent(t)
	if out := must(t, "setting"); out != "15W (firmware)\n" {
		t.Errorf("taken back: %q", out)
	}
	for args, want := range map[string]string{
		"setting 25kW": "give watts above 0", "setting 15W --clear": "not both", "setting 0": "above 0",
	} {
		if o := sweepd(t, strings.Fields(args)...); o.code != exitUsage || !strings.Contains(o.stderr, want) {
			t.Errorf("%s: %+v", args, o)
		}
	}
	if o := sweepd(t, "setting", " "); o.code != exitUsage || !strings.Contains(o.stderr, "--clear") {
		t.Errorf("an empty setting: %+v", o)
	}
}

// silent is a device that reports no setting.
func silent() simdevice.Config {
	cfg := simdevice.UnitOak()
	cfg.Without = simdevice.PartFirmwareLimit | simdevice.PartPowercapLimit | simdevice.PartPlatformProfile | simdevice.PartGPUCap
	return cfg
}

// A run without any setting says so, and one whose setting was declared before the machine
// was started anew, where nothing tells whether it still holds.
func TestSettingUnknown(t *testing.T) {
	alone(t)
	liveDeviceOf(t, silent(), 0)
	a := startAgent(t)
	play := func() (stderr string) {
		t.Helper()
		o := sweepd(t, "run", "start", "--workload", "tile-sort")
		if o.code != exitOK {
			t.Fatalf("%+v", o)
		}
		must(t, "run", "stop", "--result", "score=3")
		return words(o.stderr)
	}
	unknown := func() int { t.Helper(); return len(asked[[]run.Run](t, "run list --finding setting_unknown")) }
	if out := play(); !strings.Contains(out, "started all the same: no setting was declared, and the system reports none, finding setting_unknown; declare it before the next run: sweepd setting 25W") {
		t.Errorf("run start: %s", out)
	}
	if n := unknown(); n != 1 {
		t.Errorf("%d runs say so, want 1", n)
	}
	if out := must(t, "run", "show", "last"); !strings.Contains(out, "doubt setting_unknown: no setting was declared") {
		t.Errorf("run show: %s", out)
	}
	must(t, "setting", "18W")
	if out := play(); strings.Contains(out, "setting_unknown") || unknown() != 1 {
		t.Errorf("with a setting: %s", out)
	}
	a.stop()

	liveDeviceOf(t, silent(), 61*time.Minute)
	startAgent(t)
	if out := play(); !strings.Contains(out, "the machine was started anew since, and nothing tells whether it kept the setting, finding setting_unknown") || unknown() != 2 {
		t.Errorf("after a restart: %s", out)
	}
	if r := asked[run.Run](t, "run show last"); r.Setting.String() != "18W" {
		t.Errorf("the declaration is in force: %+v", r.Labels)
	}
	must(t, "setting", "18W") // again: now it is said of this start
	if out := play(); strings.Contains(out, "setting_unknown") || unknown() != 2 {
		t.Errorf("declared again: %s", out)
	}
	must(t, "import", writeFile(t, "two.csv", "device,workload,supply,score\nunit-elm,tile-sort,mains,46\n"))
	if unknown() != 2 {
		t.Error("an imported run is doubted for its setting")
	}
}
