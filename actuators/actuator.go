package actuators

import (
	"sweepd/run"
)

// What an actuator sets: the setting, or a key of the variant by its own name.
const (
	SetsSetting          = "setting"
	SetsCores            = "cores"
	SetsGovernor         = "governor"
	SetsEnergyPreference = "energy_preference"
)

// profileName is the name of the one that sets a platform profile, which moves limits and is
// moved by them.
const profileName = "profile"

// Actuator is one thing that can be set. Its methods are called by one goroutine at a
// time, and none of them writes anything.
type Actuator interface {
	// Name is its key in the configuration: firmware, powercap, gpu, profile, cores,
	// governor, energy_preference, command.
	Name() string
	// Sets is SetsSetting, or the key of the variant that it sets.
	Sets() string
	// Offer is what it can set at present, or why it cannot.
	Offer() Offer
	// Writes are what sets a value, in the order in which to write it, each with what its
	// place has now: a limit that must not lie above another one is lowered before and
	// raised after that, and a step upward that is larger than the user's limits allow is
	// several writes. Places that have the value already are left out. It fails for a value
	// that the machine or the user's limits do not take, saying why, with an error that
	// names place, value and range.
	Writes(v Value, within Limits) ([]Write, error)
}

// Value is what to set: a setting, or the value of a variant's key. The zero Value means
// what was found: the first values.
type Value struct {
	Setting run.Setting // known where Text is ""
	Text    string      // of the variant's pair: "6" of cores=6
}

// Offer is what an actuator can set, as `sweepd actuators` lists it. Unknown numbers are
// nil; lists are never nil.
type Offer struct {
	Actuator string `json:"actuator"`
	Sets     string `json:"sets"`
	// Sources are its places: files or the command, a limit before those that it must not
	// exceed.
	Sources []string `json:"sources"`
	Now     string   `json:"now"`  // "25W", "balanced", "6"; "" unknown
	Unit    string   `json:"unit"` // of the numbers: "W", "cores"; "" for names
	Min     *float64 `json:"min"`  // of the machine itself
	Max     *float64 `json:"max"`
	// Increment is the step between values that the machine takes.
	Increment *float64 `json:"increment"`
	Choices   []string `json:"choices"` // names that the machine takes
	// Missing says why it cannot be set at all on this machine; "" where it can.
	Missing string `json:"missing"`
	// Writable tells whether this process may write it now.
	Writable bool `json:"writable"`
	// Allowed tells whether the configuration names it, with its limits.
	Allowed *Limits `json:"allowed"`
	// Needs is what would have to be done so that it could be set, a sentence; "" for
	// nothing.
	Needs string `json:"needs"`
}

// Limits are those of the user, from the configuration. Numbers are in the unit of the
// offer; nil means that the machine's own hold. They never widen the machine's.
type Limits struct {
	Min *float64 `json:"min" yaml:"min"`
	Max *float64 `json:"max" yaml:"max"`
	// StepUp is the largest step upward in one write; a larger one is taken in several.
	StepUp *float64 `json:"step_up" yaml:"step_up"`
	// Choices are the names that may be set; empty: all that the machine takes.
	Choices []string `json:"choices" yaml:"choices"`
}

// Write is one text for one place.
type Write struct {
	Actuator string `json:"actuator"`
	// Path is the kernel's file; "" for a command.
	Path string `json:"path,omitempty"`
	// Command is the user's own. Reading is the one that prints what is set now, Back the
	// one that puts Was back. "{}" in a word stands for Text in Command, for Was in Back.
	Command []string `json:"command,omitempty"`
	Back    []string `json:"back,omitempty"`
	Reading []string `json:"reading,omitempty"`
	Text    string   `json:"text"` // that is written, or handed to the command
	Was     string   `json:"was"`  // what the place had when this was made
	// Leeway is how far from Text the place may read afterwards, in its own unit: some
	// firmware rounds. 0: it must read the same, whitespace and a number's notation aside.
	Leeway float64 `json:"leeway,omitempty"`
	// Up is the largest step upward that the user allows, in the place's own unit; 0: any.
	Up float64 `json:"up,omitempty"`
	// Again says that the place is about to have Text already, and is only written where
	// firmware moved it along with another one.
	Again bool `json:"again,omitempty"`
	// Along says that the place is not set but may change with others that are, such as a
	// profile with a limit: it is put back only where it reads otherwise than Was.
	Along bool `json:"along,omitempty"`
}

// Place names the place of a write: its path, or its command.
func (w Write) Place() string {
	if w.Path != "" {
		return w.Path
	}
	if len(w.Command) > 0 {
		return w.Command[0]
	}
	return w.Actuator
}

// samePlace tells whether two writes are for the same place.
func (w Write) samePlace(v Write) bool {
	return w.Path == v.Path && (w.Path != "" || w.Actuator == v.Actuator)
}
