package console

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"sweepd/run"
)

// number is what a result starts with, in decimal notation.
var number = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?`)

// unit starts with a letter or a sign that units start with, so that "1,5",
// "1_000" or "1.2.3" are not taken for a number with a strange unit.
var unit = regexp.MustCompile(`^([\pL%°µ‰/][\pL\pN%°µ‰²³·*/^ .-]*)?$`)

const (
	maxUnit  = 40
	valueHow = "give a number with a decimal point and, if it has one, its unit: fps_mean=61.3fps"
)

// ParseResult reads NAME=VALUE[UNIT], for example "fps_mean=61.3fps" or
// "render time=12.5 s". The direction of the result is left open.
func ParseResult(text string) (name string, r run.Result, err error) {
	name, value, found := strings.Cut(text, "=")
	name = strings.TrimSpace(name)
	if !found {
		return "", r, fmt.Errorf("result %q is not NAME=VALUE: %s", shorten(text), valueHow)
	}
	if err := run.CheckLabel("name of a result", name); err != nil {
		return "", r, err
	}
	r, err = ParseValue(value)
	if err != nil {
		return "", r, fmt.Errorf("result %s: %w", name, err)
	}
	return name, r, nil
}

// ParseValue reads VALUE[UNIT]. Values are finite.
func ParseValue(text string) (run.Result, error) {
	text = strings.TrimSpace(text)
	digits := number.FindString(text)
	rest := strings.TrimSpace(text[len(digits):])
	if digits == "" || !unit.MatchString(rest) || hexadecimal(digits, rest) {
		return run.Result{}, fmt.Errorf("%q is not a number: %s", shorten(text), valueHow)
	}
	if len(rest) > maxUnit {
		return run.Result{}, fmt.Errorf("unit %q has %d bytes: at most %d are allowed", shorten(rest), len(rest), maxUnit)
	}
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil || math.IsInf(v, 0) {
		return run.Result{}, fmt.Errorf("%q is too large for a number", shorten(digits))
	}
	return run.Result{Value: v, Unit: rest}, nil
}

// hexadecimal tells "0x1f" from a zero with the unit x1f.
func hexadecimal(digits, rest string) bool {
	return digits == "0" && len(rest) > 1 && (rest[0] == 'x' || rest[0] == 'X')
}

// ParseResults reads what ParseResult does, several at once. lower names those of
// which less is better, and only those.
func ParseResults(texts, lower []string) (map[string]ResultMessage, error) {
	out := make(map[string]ResultMessage, len(texts))
	for _, text := range texts {
		name, r, err := ParseResult(text)
		if err != nil {
			return nil, err
		}
		if _, twice := out[name]; twice {
			return nil, fmt.Errorf("result %s is given twice", name)
		}
		out[name] = ResultMessage{Value: &r.Value, Unit: r.Unit, Better: Explicit(name, lower)}
	}
	for _, name := range lower {
		if _, ok := out[name]; !ok {
			return nil, fmt.Errorf("--lower %s names no result that is given", shorten(name))
		}
	}
	return out, nil
}

// shorten keeps what a user typed short enough to quote.
func shorten(text string) string {
	const most = 60
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most]) + "…"
}
