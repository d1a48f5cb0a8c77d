package main

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"sweepd/actuators"
)

// settable makes a small tree of what can be set, and a configuration that allows some of it.
func settable(t *testing.T) (root, config string) {
	t.Helper()
	root = t.TempDir()
	for path, text := range map[string]string{
		"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/type":             "integer",
		"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/current_value":    "15",
		"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/min_value":        "5",
		"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/max_value":        "30",
		"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/scalar_increment": "1",
		"class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/type":            "integer",
		"class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/current_value":   "20",
		"class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/min_value":       "5",
		"class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/max_value":       "35",
		"firmware/acpi/platform_profile":                                             "balanced",
		"firmware/acpi/platform_profile_choices":                                     "low-power balanced performance",
		"devices/system/cpu/cpu0/topology/core_id":                                   "0",
		"devices/system/cpu/cpu1/online":                                             "1",
	} {
		path := filepath.Join(root, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	config = filepath.Join(t.TempDir(), "sweepd.yaml")
	text := `hands_off:
  actuators:
    firmware: {min: 8, max: 25, step_up: 10}
    gpu: {min: 8, max: 25}
    cores: {min: 2}
    command: {sets: fan, set: [echo, "{}"], read: [echo, "40"], min: 0.5, max: 100}
`
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("HOST_SYS", root)
	return root, config
}

// stamps are the texts of all files and when they were written.
func stamps(t *testing.T, root string) map[string]string {
	t.Helper()
	seen := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		info, err := d.Info()
		seen[path] = string(text) + info.ModTime().String()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return seen
}

const actuatorsListed = `actuator           sets      now       takes                             allowed              may be set  source
firmware           setting   15W       5 to 30W in steps of 1W           8 to 25W, up by 10W  yes         SYS/class/firmware-attributes/firmware/attributes/ppt_pl1_spl/current_value and 1 more
profile            setting   balanced  low-power, balanced, performance  no                   no          SYS/firmware/acpi/platform_profile
cores              cores     2         1 to 2 cores in steps of 1        from 2 cores         yes         SYS/devices/system/cpu/cpu1/online
command            fan       40        0.5 to 100                        0.5 to 100           yes         echo {}

needed
  gpu: the configuration names it, and this machine does not have it: take it
    out of hands_off
  profile: name it in the configuration, with limits of your own, such as
    hands_off: {actuators: {profile: {choices: [low-power, balanced,
    performance]}}}

missing
  powercap: no package has a power limit in
    SYS/class/powercap/*/constraint_*_power_limit_uw
  gpu: no graphics processor has a power limit in
    SYS/class/drm/card*/device/hwmon/hwmon*/power1_cap
  governor: no driver has SYS/devices/system/cpu/cpufreq/policy*/scaling_governor;
    usual in a virtual machine
  energy_preference: no driver has
    SYS/devices/system/cpu/cpufreq/policy*/energy_performance_preference; usual in
    a virtual machine

No agent answers: this is what this process finds, and may write itself.
`

// The listing says of each thing its range, its value, what is allowed and what would be
// needed, and nothing is written by it.
func TestActuatorsAreListed(t *testing.T) {
	alone(t)
	root, config := settable(t)
	before := stamps(t, root)
	out := strings.ReplaceAll(must(t, "actuators", "--config", config), root, "SYS")
	if got, want := words(out), words(actuatorsListed); got != want { // lines break by the length of the root
		t.Errorf("%s", cmp.Diff(strings.Fields(want), strings.Fields(got)))
	}
	var offers []actuators.Offer
	if err := json.Unmarshal([]byte(must(t, "actuators", "--json", "--config", config)), &offers); err != nil {
		t.Fatal(err)
	}
	if len(offers) != 8 || offers[0].Actuator != "firmware" || *offers[0].Max != 30 || *offers[0].Allowed.Max != 25 || !offers[0].Writable || offers[1].Missing == "" || offers[1].Max != nil {
		t.Errorf("got %+v", offers)
	}
	if after := stamps(t, root); !cmp.Equal(before, after) {
		t.Errorf("looking wrote: %s", cmp.Diff(before, after))
	}
	// The read command of the configuration fails, hangs on, or prints too much.
	for read, want := range map[string]string{
		`[false]`:                       "what is set now is not known: false: exit status 1",
		`[no-such-program-of-ours]`:     "the program no-such-program-of-ours cannot be run",
		`["true"]`:                      "true printed nothing",
		`[head, -c, "9000", /dev/zero]`: "it printed more than 4096 bytes",
		`[printf, "1\n2"]`:              "where one line with what is set is wanted",
	} {
		text := "hands_off: {actuators: {command: {sets: fan, set: [echo, '{}'], read: " + read + ", choices: [quiet]}}}\n"
		if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		wantWords(t, must(t, "actuators", "--config", config), want)
	}
	for args, want := range map[string]string{"actuator": "did you mean actuators?", "actuators cores": "one word too many", "actuators --for 1s": "has no flag --for"} {
		if o := sweepd(t, strings.Fields(args)...); o.code != exitUsage || !strings.Contains(o.stderr, want) {
			t.Errorf("%s: exit %d, %s", args, o.code, o.stderr)
		}
	}
}
