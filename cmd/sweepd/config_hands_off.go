package main

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"sweepd/actuators"
	"sweepd/run"
	"sweepd/testday"
)

// handsOff is what the file says of a day without hands; nil where it names none.
type handsOff struct {
	Actuators allowedActuators `yaml:"actuators"`
	Guards    guardWords       `yaml:"guards"`
	Settle    span             `yaml:"settle"`
	Tries     int              `yaml:"tries"`
}

// allowedActuators are the limits of what may be set; what is nil may not be set.
type allowedActuators struct {
	Firmware         *actuators.Limits `yaml:"firmware"`
	Powercap         *actuators.Limits `yaml:"powercap"`
	GPU              *actuators.Limits `yaml:"gpu"`
	Profile          *actuators.Limits `yaml:"profile"`
	Cores            *actuators.Limits `yaml:"cores"`
	Governor         *actuators.Limits `yaml:"governor"`
	EnergyPreference *actuators.Limits `yaml:"energy_preference"`
	Command          *commandActuator  `yaml:"command"`
}

// commandActuator is the user's own command as the file has it.
type commandActuator struct {
	Sets    string   `yaml:"sets"`
	Set     []string `yaml:"set"`
	Back    []string `yaml:"back"`
	Read    []string `yaml:"read"`
	Timeout span     `yaml:"timeout"`
	Min     *float64 `yaml:"min"`
	Max     *float64 `yaml:"max"`
	StepUp  *float64 `yaml:"step_up"`
	Choices []string `yaml:"choices"`
}

func (c *commandActuator) limits() *actuators.Limits {
	if c == nil {
		return nil
	}
	return &actuators.Limits{Min: c.Min, Max: c.Max, StepUp: c.StepUp, Choices: c.Choices}
}

// guardWords are testday.GuardLimits as the file names them.
type guardWords struct {
	Temperature        float64   `yaml:"temperature"`
	Reserve            float64   `yaml:"reserve"`
	BatteryTemperature []float64 `yaml:"battery_temperature"`
	SensorGone         span      `yaml:"sensor_gone"`
}

// workload is how a workload is carried out, as the file names it.
type workload struct {
	Command    []string `yaml:"command"`
	ResultFrom []string `yaml:"result_from"`
	Timeout    span     `yaml:"timeout"`
}

// defaultWorkload is how long a workload may take unless the file says otherwise. Common
// practice, no source.
const defaultWorkload = time.Hour

// command of an actuator may take so long unless the file says otherwise.
const defaultCommandTimeout = 5 * time.Second

// byName are the limits by the name of the actuator, nil where it may not be set.
func (a allowedActuators) byName() map[string]*actuators.Limits {
	return map[string]*actuators.Limits{
		"firmware": a.Firmware, "powercap": a.Powercap, "gpu": a.GPU, "profile": a.Profile, "cores": a.Cores,
		"governor": a.Governor, "energy_preference": a.EnergyPreference, "command": a.Command.limits(),
	}
}

// allowed are the limits of what may be set, by the name of the actuator. It is never nil.
func (h *handsOff) allowed() map[string]actuators.Limits {
	allowed := map[string]actuators.Limits{}
	if h == nil {
		return allowed
	}
	for name, limits := range h.Actuators.byName() {
		if limits != nil {
			allowed[name] = *limits
		}
	}
	return allowed
}

func (h *handsOff) settle() time.Duration {
	if h == nil || h.Settle.Duration == 0 {
		return testday.DefaultSettle
	}
	return h.Settle.Duration
}

func (h *handsOff) tries() int {
	if h == nil || h.Tries == 0 {
		return testday.DefaultTries
	}
	return h.Tries
}

// guards are the guards' limits; zero means the default of testday.Guards.
func (h *handsOff) guards() (g testday.GuardLimits) {
	if h == nil {
		return g
	}
	g = testday.GuardLimits{Temperature: h.Guards.Temperature, Reserve: h.Guards.Reserve, SensorGone: h.Guards.SensorGone.Duration}
	copy(g.BatteryTemperature[:], h.Guards.BatteryTemperature)
	return g
}

// commands are how the workloads of the file are carried out, by name.
func (c *config) commands() map[string]testday.WorkloadCommand {
	commands := map[string]testday.WorkloadCommand{}
	for name, w := range c.Workloads {
		t := w.Timeout.Duration
		if t == 0 {
			t = defaultWorkload
		}
		commands[name] = testday.WorkloadCommand{Command: w.Command, ResultFrom: w.ResultFrom, Lower: c.Lower, Timeout: t}
	}
	return commands
}

// What the limits of an actuator have to be: a range, the least number, or names.
const (
	needsRange = iota
	needsLeast
	needsNames
)

var actuatorNeeds = map[string]int{
	"firmware": needsRange, "powercap": needsRange, "gpu": needsRange, "profile": needsNames, "cores": needsLeast,
	"governor": needsNames, "energy_preference": needsNames,
}

// checkHandsOff names the first bad key of hands_off and workloads with its place.
func checkHandsOff(text []byte, c *config) error {
	type check struct {
		key string
		err error
	}
	var checks []check
	if h := c.HandsOff; h != nil {
		limits := h.Actuators.byName()
		for _, name := range slices.Sorted(maps.Keys(limits)) {
			at := "hands_off.actuators." + name
			switch l := limits[name]; {
			case l == nil && placeOf(text, at) != nowhere:
				checks = append(checks, check{at, fmt.Errorf("nothing is said there, and nothing is set without limits: give %s", wantedLimits(name))})
			case l != nil && name != "command":
				key, err := checkLimits(*l, name)
				checks = append(checks, check{at + key, err})
			}
		}
		if h.Actuators.Command != nil {
			key, err := h.Actuators.Command.check()
			checks = append(checks, check{"hands_off.actuators.command" + key, err})
		}
		checks = append(checks,
			check{"hands_off.guards.temperature", optionalBetween(h.Guards.Temperature, 40, 110, "°C")},
			check{"hands_off.guards.reserve", optionalBetween(h.Guards.Reserve, 0.02, 0.95, "as a share of full")},
			check{"hands_off.guards.battery_temperature", batteryRange(h.Guards.BatteryTemperature)},
			check{"hands_off.guards.sensor_gone", within(h.Guards.SensorGone, 500*time.Millisecond, 10*time.Second)},
			check{"hands_off.settle", within(h.Settle, time.Second, 10*time.Minute)},
			check{"hands_off.tries", optionalBetween(float64(h.Tries), 1, 10, "tries")})
	}
	for _, name := range slices.Sorted(maps.Keys(c.Workloads)) {
		key, err := c.Workloads[name].check(name)
		checks = append(checks, check{"workloads." + name + key, err})
	}
	for _, c := range checks {
		if c.err != nil {
			place := placeOf(text, c.key)
			for key := c.key; place == nowhere && strings.Contains(key, "."); { // a key that is missing: where it would be
				key = key[:strings.LastIndex(key, ".")]
				place = placeOf(text, key)
			}
			return fmt.Errorf("%s: %s: %w", place, c.key, c.err)
		}
	}
	return nil
}

// wantedLimits is what an actuator's limits look like.
func wantedLimits(name string) string {
	switch needs, ok := actuatorNeeds[name]; {
	case !ok:
		return `{set: [PROGRAM, "{}"], read: [PROGRAM], min: 8, max: 25}`
	case needs == needsNames:
		return "{choices: [one, two]}"
	case needs == needsLeast:
		return "{min: 2}"
	}
	return "{min: 8, max: 25}, in watts"
}

// checkLimits tells what is wrong with an actuator's limits, and with which key.
func checkLimits(l actuators.Limits, name string) (key string, err error) {
	needs := actuatorNeeds[name]
	if needs == needsNames {
		if l.Min != nil || l.Max != nil || l.StepUp != nil {
			return "", fmt.Errorf("it takes names, not numbers: give %s", wantedLimits(name))
		}
		return checkChoices(l.Choices, wantedLimits(name))
	}
	if len(l.Choices) > 0 {
		return ".choices", fmt.Errorf("it takes numbers, not names: give %s", wantedLimits(name))
	}
	unit, most := "W", float64(run.MaxSettingWatts)
	if needs == needsLeast {
		unit, most = "cores", 8192 // see believedCPUs of collectors
	}
	if l.Min == nil || l.Max == nil && needs == needsRange {
		return "", fmt.Errorf("nothing is set without limits: give %s", wantedLimits(name))
	}
	if key, err := checkRange(l, most, unit); err != nil {
		return key, err
	}
	if needs == needsLeast {
		for key, v := range map[string]*float64{".min": l.Min, ".max": l.Max, ".step_up": l.StepUp} {
			if v != nil && *v != math.Trunc(*v) {
				return key, fmt.Errorf("%v is no whole number of cores", *v)
			}
		}
	}
	return "", nil
}

func checkRange(l actuators.Limits, most float64, unit string) (key string, err error) {
	for _, v := range []struct {
		key string
		v   *float64
	}{{".min", l.Min}, {".max", l.Max}, {".step_up", l.StepUp}} {
		if v.v != nil && (!(*v.v > 0) || *v.v > most) {
			return v.key, fmt.Errorf("%v %s is not above 0 and at most %v", *v.v, unit, most)
		}
	}
	if l.Min != nil && l.Max != nil && *l.Min > *l.Max {
		return ".min", fmt.Errorf("%v %s is above max, %v", *l.Min, unit, *l.Max)
	}
	return "", nil
}

func checkChoices(choices []string, wanted string) (key string, err error) {
	if len(choices) == 0 {
		return "", fmt.Errorf("nothing is set without limits: give %s", wanted)
	}
	for i, c := range choices {
		if err := run.CheckLabel("a choice", c); err != nil {
			return ".choices", err
		}
		if slices.Contains(choices[:i], c) {
			return ".choices", fmt.Errorf("%q is there twice", c)
		}
	}
	return "", nil
}

// filledIn stands in a command's words for what is to be set.
const filledIn = "{}"

func (c *commandActuator) check() (key string, err error) {
	if !isKeyOrSetting(c.Sets) {
		return ".sets", fmt.Errorf("%q is not setting or the key of a variant, such as fan", run.Shorten(c.Sets))
	}
	for _, w := range []struct {
		key   string
		words []string
		must  bool
		why   string
	}{
		{".set", c.Set, true, `what sets it is needed: a program and its arguments as a list, "{}" where the value goes`},
		{".read", c.Read, true, "what prints the present value is needed, as a list: without it the first value could not be put back"},
		{".back", c.Back, false, ""},
	} {
		if w.must && len(w.words) == 0 {
			return w.key, errors.New(w.why)
		}
		if err := command(w.words); err != nil {
			return w.key, err
		}
	}
	if !slices.ContainsFunc(c.Set, func(s string) bool { return strings.Contains(s, filledIn) }) {
		return ".set", fmt.Errorf(`no word of it has "{}", which stands for the value: such as [%s, "{}"]`, run.Visible(c.Set[0]))
	}
	if slices.ContainsFunc([]string{c.Set[0], c.Read[0]}, func(s string) bool { return strings.Contains(s, filledIn) }) ||
		len(c.Back) > 0 && strings.Contains(c.Back[0], filledIn) {
		return ".set", errors.New(`the program itself may not be "{}"`)
	}
	if err := within(c.Timeout, 100*time.Millisecond, 30*time.Second); err != nil {
		return ".timeout", err
	}
	l := *c.limits()
	switch numbers := l.Min != nil || l.Max != nil || l.StepUp != nil; {
	case numbers && len(l.Choices) > 0:
		return ".choices", errors.New("it takes numbers, from min to max, or names, from choices: not both")
	case numbers && (l.Min == nil || l.Max == nil), !numbers && len(l.Choices) == 0:
		return "", errors.New("nothing is set without limits: give min and max, or choices")
	case numbers && c.Sets == actuators.SetsSetting:
		return checkRange(l, run.MaxSettingWatts, "W")
	case numbers:
		return checkRange(l, math.MaxFloat64, "")
	}
	return checkChoices(l.Choices, "choices")
}

// isKey is what a variant's key may look like here; setting is the setting.
var isKey = regexp.MustCompile(`^[a-z][a-z0-9_-]{0,62}$`)

func isKeyOrSetting(s string) bool { return isKey.MatchString(s) }

func (w workload) check(name string) (key string, err error) {
	if err := run.CheckLabel("workload", name); err != nil {
		return "", err
	}
	if len(w.Command) == 0 {
		return ".command", errors.New("a workload needs its command: a program and its arguments as a list")
	}
	if err := command(w.Command); err != nil {
		return ".command", err
	}
	if _, err := testday.ParseOutputRules(w.ResultFrom); err != nil {
		return ".result_from", err
	}
	return ".timeout", within(w.Timeout, time.Second, 24*time.Hour)
}

// optionalBetween allows 0 for the default.
func optionalBetween(v, low, high float64, unit string) error {
	if math.IsNaN(v) || v != 0 && (v < low || v > high) {
		return fmt.Errorf("%v is not between %v and %v %s", v, low, high, unit)
	}
	return nil
}

// batteryRange: lithium cells must not be charged below 0 °C, and makers state 45 °C for
// charging and 60 °C for discharging at most (IEC 62133-2 names the lower ones as usual;
// from memory). Nothing outside -20 to 60 °C is taken for a limit.
func batteryRange(r []float64) error {
	switch {
	case len(r) == 0:
		return nil
	case len(r) != 2:
		return fmt.Errorf("two temperatures are wanted there, such as [0, 45], in °C; there are %d", len(r))
	case !(r[0] < r[1]) || r[0] < -20 || r[1] > 60:
		return fmt.Errorf("%v to %v °C is not a range within -20 to 60 °C", r[0], r[1])
	}
	return nil
}
