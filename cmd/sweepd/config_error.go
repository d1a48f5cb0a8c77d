package main

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"

	"sweepd/internal/bounded"
	"sweepd/run"
)

// placeError turns the library's error with an excerpt into one sentence with the
// place, the key and what is wanted there.
func placeError(text []byte, err error) error {
	var placed yaml.Error
	if !errors.As(err, &placed) || placed.GetToken() == nil {
		return fmt.Errorf("as a whole: %w", err)
	}
	at, value := placed.GetToken().Position, placed.GetToken().Value
	place := fmt.Sprintf("line %d, column %d: ", at.Line, at.Column)
	key := keyAt(string(text), at.Line)
	if key != "" {
		key += ": "
	}
	var unknown *yaml.UnknownFieldError
	var time *noTime
	var much *bounded.BoundError
	var kind *yaml.TypeError
	var shape *yaml.UnexpectedNodeTypeError
	switch {
	case errors.As(err, &unknown):
		keys, meant := keysBeside(text, at), ""
		if near := run.Near(value, keys); near != "" {
			meant = "; did you mean " + near + "?"
		}
		return fmt.Errorf("%sunknown key %q: the keys there are %s%s", place, value, strings.Join(keys, ", "), meant)
	case errors.As(err, &time):
		return errors.New(place + key + time.GetMessage())
	case errors.As(err, &much):
		return errors.New(place + much.GetMessage())
	case errors.As(err, &kind):
		return fmt.Errorf("%s%s%q is not what is wanted there: %s", place, key, value, kindText(kind))
	case errors.As(err, &shape):
		return errors.New(place + key + shapeText(shape))
	case strings.Contains(placed.GetMessage(), "already defined"): // a syntax error to the library
		return fmt.Errorf("%skey %q is there twice: keep one", place, value)
	}
	return fmt.Errorf("%sthe file cannot be read as YAML from there on: begin keys of one level in the same column, "+
		"indent them with blanks, close brackets and quotes (the reader says: %s)", place, placed.GetMessage())
}

func kindText(e *yaml.TypeError) string {
	switch e.DstType.Kind().String() {
	case "float64":
		return "give a number with a decimal point"
	case "int", "int64", "uint64":
		return "give a whole number"
	case "bool":
		return "give true or false"
	case "string":
		return "give a text, if need be in quotes"
	}
	return e.GetMessage()
}

func shapeText(e *yaml.UnexpectedNodeTypeError) string {
	switch e.Expected {
	case ast.SequenceType:
		return "a list is wanted there, such as [one, two]"
	case ast.MappingType:
		return "keys with values are wanted there, such as `device: unit-oak`"
	}
	return e.GetMessage()
}

// keyOf fits a line with a key, maybe the first of a list's entry.
var keyOf = regexp.MustCompile(`^([ -]*)([A-Za-z_][\w-]*) *:( |$)`)

// keyAt is the path of the key on a line, or of the closest one above it that
// encloses it: "thresholds.gap".
func keyAt(text string, line int) string {
	type level struct {
		indent int
		key    string
	}
	var path []level
	for i, s := range strings.Split(text, "\n") {
		if i >= line {
			break
		}
		if m := keyOf.FindStringSubmatch(strings.TrimRight(s, "\r")); m != nil {
			for len(path) > 0 && path[len(path)-1].indent >= len(m[1]) {
				path = path[:len(path)-1]
			}
			path = append(path, level{len(m[1]), m[2]})
		}
	}
	var keys []string
	for _, l := range path {
		keys = append(keys, l.key)
	}
	return strings.Join(keys, ".")
}
