package collectors

import (
	"fmt"
	"slices"
)

// causes are the failures of one pass over several files. While they stay the same,
// err gives the same value.
type causes struct {
	list []error
	told *severalErrors
}

func (c *causes) add(err error) {
	if err != nil {
		c.list = append(c.list, err)
	}
}

// err is nothing, the one cause, or all of them; the next pass begins.
func (c *causes) err() error {
	list := c.list
	c.list = c.list[:0]
	switch len(list) {
	case 0:
		return nil
	case 1:
		return list[0]
	}
	if c.told == nil || !slices.EqualFunc(list, c.told.list, same) {
		c.told = &severalErrors{slices.Clone(list)}
	}
	return c.told
}

// severalErrors are the failures of several files of one probe.
type severalErrors struct{ list []error }

func (e *severalErrors) Error() string {
	return fmt.Sprintf("%v; and %d more of the same source", e.list[0], len(e.list)-1)
}

func (e *severalErrors) Unwrap() []error { return e.list }

// each are the failures that err holds.
func each(err error) []error {
	if several, ok := err.(*severalErrors); ok {
		return several.list
	}
	return []error{err}
}
