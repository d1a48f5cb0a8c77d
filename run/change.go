package run

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Field is a kind of thing that a person typed of a run, and may correct.
type Field string

const (
	FieldDevice   Field = "device"
	FieldWorkload Field = "workload"
	FieldVariant  Field = "variant"
	FieldSupply   Field = "supply"
	FieldSetting  Field = "setting"
	// FieldSource is where the setting is known from: declared, once a person says it.
	FieldSource Field = "setting_source"
	FieldNote   Field = "note"
	FieldResult Field = "result"
	// FieldCondition is a fact that a person typed, see Typed.
	FieldCondition Field = "condition"
)

// Change is one thing of a run that a correction changes. Old and New are texts: "25W",
// "61.3 fps, higher is better"; "" is an unknown label, and no such result.
type Change struct {
	What Field  `json:"what"`
	Name string `json:"name,omitzero"` // of the result, or the key of the condition
	Old  string `json:"old"`
	New  string `json:"new"`
}

// Back is the change that takes this one back.
func (c Change) Back() Change {
	c.Old, c.New = c.New, c.Old
	return c
}

// Of is what the run has now where the change is made.
func (c Change) Of(r *Run) string {
	switch c.What {
	case FieldDevice:
		return r.Device
	case FieldWorkload:
		return r.Workload
	case FieldVariant:
		return string(r.Variant)
	case FieldSupply:
		return string(r.Supply)
	case FieldSetting:
		return r.Setting.String()
	case FieldSource:
		return string(r.Setting.Source)
	case FieldNote:
		return r.Note
	case FieldResult:
		if x, ok := r.Results[c.Name]; ok {
			return ResultText(x)
		}
	case FieldCondition:
		return r.Facts[c.Name]
	}
	return ""
}

// Apply makes the change to a run whose maps of results and facts are its own. It fails where New
// cannot be what it is for.
func (c Change) Apply(r *Run) error {
	if c.What != FieldResult && c.What != FieldCondition && c.Name != "" {
		return fmt.Errorf("a change of the %s has the name %q", c.What, Shorten(c.Name))
	}
	switch c.What {
	case FieldDevice:
		r.Device = c.New
		return CheckLabel("device", c.New)
	case FieldWorkload:
		r.Workload = c.New
		return CheckLabel("workload", c.New)
	case FieldVariant:
		v, err := ParseVariant(c.New)
		r.Variant = v
		return err
	case FieldSupply:
		r.Supply = Supply(c.New)
		if r.Supply == SupplyUnknown {
			return nil
		}
		return CheckSupply(c.New)
	case FieldSetting:
		r.Setting.Setting = settingOf(c.New)
		return r.Setting.CheckImported()
	case FieldSource:
		r.Setting.Source = Source(c.New)
		return r.Setting.CheckImported()
	case FieldNote:
		r.Note = c.New
		return CheckText("note", c.New)
	case FieldResult:
		if c.New == "" {
			delete(r.Results, c.Name)
			return nil
		}
		x, err := ParseResultText(c.New)
		if err != nil {
			return fmt.Errorf("result %s: %w", Shorten(c.Name), err)
		}
		r.Results[c.Name] = x
		return CheckResult(c.Name, x)
	case FieldCondition:
		if r.Facts[c.Name] = c.New; c.New == "" {
			delete(r.Facts, c.Name)
		}
		return Typed{c.Name: c.New}.Check()
	}
	return fmt.Errorf("%q is nothing of a run that can be corrected", Shorten(string(c.What)))
}

// settingOf undoes Setting.String.
func settingOf(text string) Setting {
	if number, inWatts := strings.CutSuffix(text, "W"); inWatts {
		if w, err := ParseNumber(number); err == nil {
			return Watts(w)
		}
	}
	return Named(text)
}

const (
	higherText = ", higher is better"
	lowerText  = ", lower is better"
)

// ResultText is a result as a Change tells it, without loss.
func ResultText(r Result) string {
	text := strconv.FormatFloat(r.Value, 'g', -1, 64)
	if r.Unit != "" {
		text += " " + r.Unit
	}
	if r.Better == Lower {
		return text + lowerText
	}
	return text + higherText
}

// ParseResultText undoes ResultText.
func ParseResultText(text string) (r Result, err error) {
	rest, lower := strings.CutSuffix(text, lowerText)
	rest, higher := strings.CutSuffix(rest, higherText)
	if lower == higher {
		return r, fmt.Errorf("%q does not say which results win", Shorten(text))
	}
	r.Better = Higher
	if lower {
		r.Better = Lower
	}
	number, unit, _ := strings.Cut(rest, " ")
	if r.Value, err = strconv.ParseFloat(number, 64); err != nil || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return r, fmt.Errorf("%q does not begin with a number", Shorten(text))
	}
	r.Unit = unit
	return r, nil
}

// ErrChanged is returned where what a correction corrects is not what it was meanwhile.
var ErrChanged = errors.New("it was corrected meanwhile")

// ApplyTo makes the change to a run that has what it corrects.
func (c Change) ApplyTo(r *Run) error {
	if now := c.Of(r); now != c.Old {
		return fmt.Errorf("%w: its %s is %q, not %q", ErrChanged, c.Thing(), Shorten(now), Shorten(c.Old))
	}
	return c.Apply(r)
}

// Thing is what is changed, in a sentence: "workload", "result fps_mean".
func (c Change) Thing() string {
	if c.Name != "" {
		return string(c.What) + " " + c.Name
	}
	return string(c.What)
}

// Corrected are the labels among which a person's word stands in place of what was
// recorded, in the order of their first correction: list is the run's history, oldest
// first.
func Corrected(list []Change) []Field {
	first := map[Field]string{}
	var order []Field
	now := map[Field]string{}
	for _, c := range list {
		if c.What == FieldResult || c.What == FieldNote || c.What == FieldCondition {
			continue
		}
		if _, known := first[c.What]; !known {
			first[c.What] = c.Old
			order = append(order, c.What)
		}
		now[c.What] = c.New
	}
	var corrected []Field
	for _, what := range order {
		if first[what] != now[what] {
			corrected = append(corrected, what)
		}
	}
	return corrected
}
