package actuators

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"sweepd/run"
)

// kind is what a value, or what an actuator takes, is: a number of watts, a number, a name.
type kind string

const (
	inWatts kind = "a number of watts"
	aNumber kind = "a number"
	aName   kind = "a name"
)

func (v Value) kind() kind {
	if v.Text != "" {
		if _, err := run.ParseNumber(v.Text); err == nil {
			return aNumber
		}
		return aName
	}
	if _, ok := v.Setting.Watts(); ok {
		return inWatts
	}
	return aName
}

func (o Offer) kind() kind {
	switch o.Unit {
	case "W":
		return inWatts
	case "":
		return aName
	}
	return aNumber
}

// String is the value as people write it: "25W", "balanced", "6".
func (v Value) String() string {
	if v.Text != "" {
		return v.Text
	}
	return v.Setting.String()
}

// named is a key in words.
func named(key string) string {
	if key == SetsSetting {
		return "the setting"
	}
	return "variant " + key
}

// example is how the configuration would name an actuator: numbers up to what is set now,
// which the machine bears as it is.
func example(o Offer) string {
	least, most := 8.0, 15.0
	if o.Min != nil && *o.Min > 0 {
		least, most = *o.Min, *o.Min
	}
	if now, err := run.ParseNumber(strings.TrimSuffix(o.Now, o.Unit)); err == nil && now > 0 {
		most, least = now, min(least, now)
	}
	limits := fmt.Sprintf("{min: %s, max: %s}", plain(least), plain(most))
	switch {
	case o.Unit == "":
		limits = "{choices: [" + strings.Join(o.Choices, ", ") + "]}"
	case o.Unit == "cores":
		limits = "{min: 2}"
	}
	return fmt.Sprintf("hands_off: {actuators: {%s: %s}}", o.Actuator, limits)
}

// lowerThenRaise puts the writes of places, of which none may exceed the one behind it,
// into an order in which none ever does: what is lowered goes first, from the least place,
// and then what is raised, from the greatest. Names stay where they are.
func lowerThenRaise(writes []Write) []Write {
	var lowered, raised []Write
	for _, w := range writes {
		to, errTo := run.ParseNumber(w.Text)
		from, errFrom := run.ParseNumber(w.Was)
		if errTo == nil && errFrom == nil && to > from {
			raised = append(raised, w)
		} else {
			lowered = append(lowered, w)
		}
	}
	slices.Reverse(raised)
	return append(lowered, raised...)
}

// nameOf is a value as a name.
func nameOf(v Value) string {
	if v.Text != "" {
		return v.Text
	}
	return v.Setting.Name()
}

// plain is a number as people write it.
func plain(v float64) string { return strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64) }

// up is the largest step upward; 0 for any.
func (l Limits) up() float64 {
	if l.StepUp == nil {
		return 0
	}
	return *l.StepUp
}

// tooFar tells whether a write from what its place has is a larger step upward than the user
// allows.
func (w Write) tooFar(was string) bool {
	from, errFrom := run.ParseNumber(was)
	to, errTo := run.ParseNumber(w.Text)
	return w.Up > 0 && errFrom == nil && errTo == nil && to-from > w.Up*(1+1e-9)+w.Leeway
}

// mostSteps is the most writes in which a step upward is taken: more come of a slip in
// step_up.
const mostSteps = 100

// stepsUp are the values on the way from one to another, of which the last is the other:
// several where a step upward is larger than the user allows. onGrid is the greatest value
// that the place takes up to another. No value on the way lies below the user's least.
func stepsUp(from, to float64, within Limits, onGrid func(float64) float64) ([]float64, error) {
	var list []float64
	for within.StepUp != nil && to-from > *within.StepUp+1e-9 {
		next := onGrid(from + *within.StepUp)
		switch {
		case next <= from:
			return nil, fmt.Errorf("it takes no step upward as small as step_up of the configuration, %s", plain(*within.StepUp))
		case within.Min != nil && next < *within.Min:
			return nil, fmt.Errorf("it has %s, from where the least that the configuration allows, %s, is more than step_up, %s: raise it by hand, or allow a lower min",
				plain(from), plain(*within.Min), plain(*within.StepUp))
		case len(list) == mostSteps:
			return nil, fmt.Errorf("from %s to %s are more than %d steps of step_up, %s", plain(from), plain(to), mostSteps, plain(*within.StepUp))
		}
		list = append(list, next)
		from = next
	}
	return append(list, to), nil
}
