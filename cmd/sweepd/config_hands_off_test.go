package main

import (
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"sweepd/actuators"
	"sweepd/testday"
)

// handsOffExample are the sections that the example shows in comments, without the signs.
func handsOffExample(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "deploy", "sweepd.example.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var sections strings.Builder
	for _, key := range []string{"hands_off:\n", "workloads:\n"} {
		_, section, found := strings.Cut(string(text), "\n# "+key)
		if !found {
			t.Fatalf("the example has no %s", key)
		}
		section, _, _ = strings.Cut(section, "\n\n")
		sections.WriteString(key + regexp.MustCompile(`(?m)^# ?`).ReplaceAllString(section, "") + "\n")
	}
	return sections.String()
}

// What the example shows in comments is read as it says, once the comment signs are gone,
// and shows every key that there is.
func TestExampleOfHandsOff(t *testing.T) {
	text := handsOffExample(t)
	var c config
	if err := parseConfig([]byte(text), &c); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	number := func(v float64) *float64 { return &v }
	watts := actuators.Limits{Min: number(8), Max: number(25)}
	inSteps := actuators.Limits{Min: number(8), Max: number(25), StepUp: number(10)}
	want := map[string]actuators.Limits{
		"firmware": inSteps, "powercap": watts, "gpu": watts, "command": inSteps,
		"profile":           {Choices: []string{"low-power", "balanced", "performance"}},
		"cores":             {Min: number(2)},
		"governor":          {Choices: []string{"powersave", "performance"}},
		"energy_preference": {Choices: []string{"power", "balance_performance", "performance"}},
	}
	if got := c.HandsOff.allowed(); !reflect.DeepEqual(got, want) {
		t.Errorf("allowed: got %+v\nwant %+v", got, want)
	}
	if got, want := c.HandsOff.guards(), (testday.GuardLimits{Temperature: 95, Reserve: 0.1, BatteryTemperature: [2]float64{0, 45}, SensorGone: time.Second}); got != want {
		t.Errorf("guards: got %+v, want %+v", got, want)
	}
	if c.HandsOff.settle() != 10*time.Second || c.HandsOff.tries() != 3 {
		t.Errorf("got %v, %d", c.HandsOff.settle(), c.HandsOff.tries())
	}
	if got := c.commands()["harbour-flight"]; got.Timeout != 10*time.Minute || len(got.Command) != 2 || len(got.ResultFrom) != 1 {
		t.Errorf("workload: got %+v", got)
	}
	for _, keys := range [][]string{
		yamlKeys(reflect.TypeFor[handsOff]()), yamlKeys(reflect.TypeFor[allowedActuators]()), yamlKeys(reflect.TypeFor[commandActuator]()),
		yamlKeys(reflect.TypeFor[guardWords]()), yamlKeys(reflect.TypeFor[workload]()), yamlKeys(reflect.TypeFor[actuators.Limits]()),
	} {
		for _, key := range keys {
			if !strings.Contains(text, key+":") {
				t.Errorf("%s is not in the example", key)
			}
		}
	}
}

// Without hands_off nothing may be set.
func TestNothingIsAllowedUnlessNamed(t *testing.T) {
	var c config
	if allowed := c.HandsOff.allowed(); allowed == nil || len(allowed) != 0 {
		t.Errorf("got %v", allowed)
	}
	if c.HandsOff.settle() != 10*time.Second || c.HandsOff.tries() != 3 || c.HandsOff.guards() != (testday.GuardLimits{}) {
		t.Error("the defaults are others than documented")
	}
}

func TestHandsOffRefuses(t *testing.T) {
	actuator := func(line string) string { return "hands_off:\n  actuators:\n    " + line + "\n" }
	for name, c := range map[string]struct{ text, want string }{
		"no such actuator":         {actuator("firmwear: {min: 8, max: 25}"), `line 3, column 5: unknown key "firmwear": the keys there are command, cores, energy_preference, firmware, governor, gpu, powercap, profile; did you mean firmware?`},
		"no such limit":            {actuator("firmware: {mni: 8, max: 25}"), `line 3, column 16: unknown key "mni": the keys there are choices, max, min, step_up; did you mean min?`},
		"no such limit, one line":  {"hands_off: {actuators: {cores: {last: 8}}}\n", `line 1, column 33: unknown key "last": the keys there are choices, max, min, step_up`},
		"no such guard":            {"hands_off:\n  guards:\n    temprature: 90\n", `line 3, column 5: unknown key "temprature": the keys there are battery_temperature, reserve, sensor_gone, temperature; did you mean temperature?`},
		"no such key of a command": {actuator("command: {sets: setting, gets: [a]}"), `unknown key "gets": the keys there are back, choices, max`},
		"no such key of hands_off": {"hands_off:\n  actuator: {}\n", `line 2, column 3: unknown key "actuator": the keys there are actuators, guards, settle, tries; did you mean actuators?`},
		"no such key, workload":    {"workloads:\n  tile-sort:\n    comand: [a]\n", `line 3, column 5: unknown key "comand": the keys there are command, result_from, timeout; did you mean command?`},
		"actuators as a list":      {"hands_off:\n  actuators: [firmware]\n", `keys with values are wanted there`},
		"no limits at all":         {actuator("firmware:"), "line 3, column 15: hands_off.actuators.firmware: nothing is said there, and nothing is set without limits: give {min: 8, max: 25}, in watts"},
		"empty limits":             {actuator("powercap: {}"), "hands_off.actuators.powercap: nothing is set without limits: give {min: 8, max: 25}, in watts"},
		"no least":                 {actuator("gpu: {max: 25}"), "hands_off.actuators.gpu: nothing is set without limits"},
		"milliwatts":               {actuator("firmware: {min: 8000, max: 25000}"), "line 3, column 21: hands_off.actuators.firmware.min: 8000 W is not above 0 and at most 1000"},
		"a unit":                   {actuator("firmware: {min: 8W, max: 25}"), `line 3, column 21: hands_off.actuators.firmware: "8W" is not what is wanted there: give a number`},
		"swapped":                  {actuator("firmware: {min: 25, max: 8}"), "line 3, column 21: hands_off.actuators.firmware.min: 25 W is above max, 8"},
		"negative step":            {actuator("firmware: {min: 8, max: 25, step_up: -1}"), "hands_off.actuators.firmware.step_up: -1 W is not above 0"},
		"names for watts":          {actuator("firmware: {choices: [low]}"), "hands_off.actuators.firmware.choices: it takes numbers, not names"},
		"numbers for names":        {actuator("profile: {min: 8, max: 25}"), "hands_off.actuators.profile: it takes names, not numbers: give {choices: [one, two]}"},
		"no names":                 {actuator("governor: {choices: []}"), "hands_off.actuators.governor: nothing is set without limits: give {choices: [one, two]}"},
		"a name twice":             {actuator("profile: {choices: [quiet, quiet]}"), `hands_off.actuators.profile.choices: "quiet" is there twice`},
		"half a core":              {actuator("cores: {min: 2.5}"), "line 3, column 18: hands_off.actuators.cores.min: 2.5 is no whole number of cores"},
		"no core":                  {actuator("cores: {min: 0}"), "line 3, column 18: hands_off.actuators.cores.min: 0 cores is not above 0"},
		"command sets nothing":     {actuator(`command: {set: [p, "{}"], read: [p], min: 8, max: 25}`), `hands_off.actuators.command.sets: "" is not setting or the key of a variant`},
		"command cannot be read":   {actuator(`command: {sets: setting, set: [p, "{}"], min: 8, max: 25}`), "hands_off.actuators.command.read: what prints the present value is needed"},
		"command takes no value":   {actuator(`command: {sets: setting, set: [p], read: [p], min: 8, max: 25}`), `hands_off.actuators.command.set: no word of it has "{}"`},
		"command is a shell line":  {actuator(`command: {sets: setting, set: "p {}", read: [p], min: 8, max: 25}`), "hands_off.actuators.command: a list is wanted there"},
		"command without limits":   {actuator(`command: {sets: setting, set: [p, "{}"], read: [p]}`), "hands_off.actuators.command: nothing is set without limits: give min and max, or choices"},
		"command with both":        {actuator(`command: {sets: fan, set: [p, "{}"], read: [p], min: 1, max: 2, choices: [a]}`), "hands_off.actuators.command.choices: it takes numbers, from min to max, or names"},
		"command is the value":     {actuator(`command: {sets: fan, set: ["{}"], read: [p], choices: [a]}`), "hands_off.actuators.command.set: the program itself may not be"},
		"command for too long":     {actuator(`command: {sets: fan, set: [p, "{}"], read: [p], choices: [a], timeout: 5m}`), "hands_off.actuators.command.timeout: 5m0s is not between 100ms and 30s"},
		"guard in fahrenheit":      {"hands_off:\n  guards: {temperature: 203}\n", "line 2, column 25: hands_off.guards.temperature: 203 is not between 40 and 110 °C"},
		"reserve in percent":       {"hands_off:\n  guards: {reserve: 10}\n", "hands_off.guards.reserve: 10 is not between 0.02 and 0.95 as a share of full"},
		"battery, one number":      {"hands_off:\n  guards: {battery_temperature: [45]}\n", "hands_off.guards.battery_temperature: two temperatures are wanted there"},
		"battery, swapped":         {"hands_off:\n  guards: {battery_temperature: [45, 0]}\n", "hands_off.guards.battery_temperature: 45 to 0 °C is not a range"},
		"sensor gone for long":     {"hands_off:\n  guards: {sensor_gone: 1m}\n", "hands_off.guards.sensor_gone: 1m0s is not between 500ms and 10s"},
		"settle as a number":       {"hands_off:\n  settle: 10\n", `line 2, column 11: hands_off.settle: "10" is no time`},
		"100 tries":                {"hands_off:\n  tries: 100\n", "line 2, column 10: hands_off.tries: 100 is not between 1 and 10 tries"},
		"workload as a text":       {"workloads:\n  tile-sort: ./tile-sort\n", "line 2, column 14: workloads.tile-sort: keys with values are wanted there"},
		"workload of nothing":      {"workloads:\n  tile-sort: {timeout: 5m}\n", "line 2, column 14: workloads.tile-sort.command: a workload needs its command"},
		"result without a rule":    {"workloads:\n  tile-sort: {command: [a], result_from: [score]}\n", "workloads.tile-sort.result_from:"},
		"workload for a week":      {"workloads:\n  tile-sort: {command: [a], timeout: 168h}\n", "workloads.tile-sort.timeout: 168h0m0s is not between 1s and 24h"},
	} {
		var read config
		if err := parseConfig([]byte(c.text), &read); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant %q", name, err, c.want)
		}
	}
}
