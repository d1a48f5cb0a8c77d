package actuators

import (
	"fmt"
	"slices"
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

// example is how the configuration would name an actuator.
func example(o Offer) string {
	limits := "{choices: [" + strings.Join(o.Choices, ", ") + "]}"
	switch {
	case o.Actuator == "cores":
		limits = "{min: 2}"
	case o.Unit != "":
		limits = "{min: 8, max: 25}"
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
