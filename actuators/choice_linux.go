package actuators

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"sweepd/run"
)

// choice is a place that takes one of some names.
type choice struct {
	path string
	list string // the file with the names that it takes
}

// offerChoices are places that are set to the same name, as an offer.
func offerChoices(o *Offer, places []choice) {
	var now []string
	for i, c := range places {
		o.Sources = append(o.Sources, c.path)
		names := fieldsOf(c.list)
		if i == 0 {
			o.Choices = append(o.Choices, names...)
		}
		o.Choices = slices.DeleteFunc(o.Choices, func(name string) bool { return !slices.Contains(names, name) })
		s, err := text(c.path)
		if err != nil {
			o.Missing = err.Error()
			return
		}
		if !slices.Contains(now, s) {
			now = append(now, s)
		}
	}
	if len(places) == 0 {
		return
	}
	o.Now = strings.Join(now, ", ")
	if len(o.Choices) == 0 {
		o.Missing = places[0].list + " names nothing that can be set"
		return
	}
	o.Writable, o.Needs = writable(o.Sources...)
}

// setChoices are the writes that set places to a name.
func setChoices(actuator string, places []choice, name string, within Limits) ([]Write, error) {
	if len(within.Choices) > 0 && !slices.Contains(within.Choices, name) {
		return nil, fmt.Errorf("%q is none of the choices that the configuration allows: %s", run.Shorten(name), strings.Join(within.Choices, ", "))
	}
	var writes []Write
	for _, c := range places {
		names := fieldsOf(c.list)
		if !slices.Contains(names, name) {
			return nil, fmt.Errorf("%s takes %s, not %q", c.path, strings.Join(names, ", "), run.Shorten(name))
		}
		now, err := text(c.path)
		if err != nil {
			return nil, fmt.Errorf("what is set now cannot be read: %w", err)
		}
		if now != name {
			writes = append(writes, Write{Actuator: actuator, Path: c.path, Text: name, Was: now})
		}
	}
	return writes, nil
}

func beside(path, name string) string { return filepath.Join(filepath.Dir(path), name) }
