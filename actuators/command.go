package actuators

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"os/exec"
	"slices"
	"strings"

	"sweepd/run"
)

// Command is a program of the user's that sets something: words without a shell, in which
// "{}" stands for the value.
type Command struct {
	// Key is SetsSetting or a key of the variant.
	Key  string
	Set  []string
	Back []string // puts the first value back; nil: as Set does
	Read []string // prints what is set, in a line
	// Within are the user's limits: numbers, watts where Key is SetsSetting, or choices.
	Within Limits
	Run    RunCommand
}

type command struct{ Command }

// NewCommand sets what a program of the user's sets.
func NewCommand(c Command) Actuator { return command{c} }

func (command) Name() string   { return "command" }
func (c command) Sets() string { return c.Key }

func (c command) takesNames() bool { return len(c.Within.Choices) > 0 }

func (c command) Offer() Offer {
	o := Offer{Actuator: c.Name(), Sets: c.Key, Sources: []string{strings.Join(c.Set, " ")}, Choices: append([]string{}, c.Within.Choices...),
		Min: c.Within.Min, Max: c.Within.Max}
	switch {
	case len(c.Set) == 0:
		o.Sources, o.Missing = []string{}, "the configuration names no command of your own that sets something"
		return o
	case c.takesNames():
	case c.Key == SetsSetting:
		o.Unit = "W"
	default:
		o.Unit = "1"
	}
	for _, program := range []string{c.Set[0], c.Read[0], slices.Concat(c.Back, c.Set)[0]} {
		if _, err := exec.LookPath(program); err != nil {
			o.Missing = fmt.Sprintf("the program %s cannot be run: %v", program, errors.Unwrap(err))
			return o
		}
	}
	now, err := c.now()
	if err != nil {
		o.Missing = err.Error()
		return o
	}
	o.Now, o.Writable = now, true
	if o.Unit == "W" && number(now) {
		o.Now += "W"
	}
	return o
}

func number(text string) bool {
	_, err := run.ParseNumber(text)
	return err == nil
}

// now is what is set at present, as the user's command prints it.
func (c command) now() (string, error) {
	now, err := Host{Run: c.Run}.read(context.Background(), c.Read)
	if err != nil {
		return "", fmt.Errorf("what is set now is not known: %w", err)
	}
	if len(now) > 255 {
		return "", fmt.Errorf("%s printed %d bytes, where a value is wanted", c.Read[0], len(now))
	}
	return now, nil
}

func (c command) Writes(v Value, within Limits) ([]Write, error) {
	if len(c.Set) == 0 {
		return nil, errors.New("the configuration names no command")
	}
	now, err := c.now()
	if err != nil {
		return nil, err
	}
	if c.takesNames() {
		name := nameOf(v)
		if !slices.Contains(within.Choices, name) {
			return nil, fmt.Errorf("%q is none of the choices that the configuration allows: %s", run.Shorten(cmp.Or(name, v.String())), strings.Join(within.Choices, ", "))
		}
		return c.writes(now, name), nil
	}
	to, ok := v.Setting.Watts()
	if c.Key != SetsSetting {
		to, err = run.ParseNumber(v.Text)
		ok = err == nil
	}
	switch {
	case !ok:
		return nil, fmt.Errorf("%s is not a number", v)
	case within.Min == nil || within.Max == nil:
		return nil, errors.New("the configuration gives no min and max")
	case to < *within.Min || to > *within.Max:
		return nil, fmt.Errorf("%s is not from %s to %s, which the configuration allows", v, plain(*within.Min), plain(*within.Max))
	}
	from, err := run.ParseNumber(now)
	if err != nil && within.StepUp != nil {
		return nil, fmt.Errorf("%s printed %q, where a number is wanted, so that the step upward is known", c.Read[0], run.Shorten(now))
	}
	values, err := stepsUp(from, to, within, func(v float64) float64 { return math.Floor(v*1e6+1e-3) / 1e6 })
	if err != nil {
		return nil, err
	}
	var list []Write
	for _, v := range values {
		for _, w := range c.writes(now, plain(v)) {
			w.Up = within.up()
			list = append(list, w)
		}
		now = plain(v)
	}
	return list, nil
}

func (c command) writes(was, text string) []Write {
	if SameText(was, text, 0) {
		return nil
	}
	back := c.Back
	if len(back) == 0 {
		back = c.Set
	}
	return []Write{{Actuator: c.Name(), Command: c.Set, Back: back, Reading: c.Read, Text: text, Was: was}}
}
