package testday

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"sweepd/run"
)

// Results are results by name on their way in. Where Better is empty, the direction
// is open: a result that is corrected keeps the one it has, of a new one the
// configuration says it.
type Results map[string]run.Result

// direction is lower for the names listed, else higher.
func direction(name string, lower []string) run.Better {
	if slices.Contains(lower, name) {
		return run.Lower
	}
	return run.Higher
}

// WithDirections gives the results whose direction is open the one that the configuration
// says: lower names those of which less is better. It fails for what cannot be kept.
func (list Results) WithDirections(lower []string) (Results, error) {
	out := make(Results, len(list))
	for name, r := range list {
		if r.Better == "" {
			r.Better = direction(name, lower)
		}
		if err := errors.Join(run.CheckResult(name, r), run.CheckSign(name, r)); err != nil {
			return nil, requestError(err)
		}
		out[name] = r
	}
	return out, nil
}

// preferLower marks in runs the results of which less is better, beside those that
// were stored so.
func preferLower(runs []run.Run, lower []string) {
	for i := range runs {
		for _, name := range lower {
			if r, ok := runs[i].Results[name]; ok {
				r.Better = run.Lower
				runs[i].Results[name] = r
			}
		}
	}
}

// ParseResults reads results as people type them, NAME=VALUE[UNIT]: "fps_mean=61.3fps"
// or "render time=12.5 s". lower names those of which less is better, and only those;
// the direction of the others is open.
func ParseResults(texts, lower []string) (Results, error) {
	out, wrong := parseResults(texts, lower)
	if len(wrong) > 0 {
		return nil, requestError(wrong[0].err)
	}
	return out, nil
}

// number is what a result starts with, in decimal notation.
var number = regexp.MustCompile(`^[+-]?([0-9]+(\.[0-9]*|,[0-9]+)?|[.,][0-9]+)([eE][+-]?[0-9]+)?`)

// unit starts with a letter or a sign that units start with, so that "1_000"
// or "1.2.3" are not taken for a number with a strange unit.
var unit = regexp.MustCompile(`^([\pL%°µ‰/][\pL\pN%°µ‰²³·*/^ .-]*)?$`)

const valueHow = "give a number and, if it has one, its unit: fps_mean=61.3fps"

// parseResult reads NAME=VALUE[UNIT].
func parseResult(text string) (name string, r run.Result, err error) {
	name, value, found := strings.Cut(text, "=")
	name = strings.TrimSpace(name)
	if !found {
		return "", r, fmt.Errorf("result %q is not NAME=VALUE: %s", run.Shorten(text), valueHow)
	}
	r, err = parseValue(name, value)
	return name, r, err
}

// parseValue reads VALUE[UNIT] of the result called name.
func parseValue(name, text string) (r run.Result, err error) {
	if err := run.CheckLabel("name of a result", name); err != nil {
		return r, err
	}
	text = strings.TrimSpace(text)
	digits := number.FindString(text)
	rest := strings.TrimSpace(text[len(digits):])
	if digits == "" || !unit.MatchString(rest) || hexadecimal(digits, rest) {
		return r, fmt.Errorf("result %s: %q is not a number: %s", name, run.Shorten(text), valueHow)
	}
	v, err := run.ParseNumber(digits)
	if hint := run.ThousandsHint(err); hint != "" {
		return r, fmt.Errorf("result %s: %q is not one number%s", name, run.Shorten(text), hint)
	}
	if err != nil {
		return r, fmt.Errorf("result %s: %q is too large for a number", name, run.Shorten(digits))
	}
	r = run.Result{Value: v, Unit: rest}
	if err := run.CheckSign(name, r); err != nil {
		return r, err
	}
	return r, run.CheckResult(name, run.Result{Value: v, Unit: rest, Better: run.Higher})
}

// hexadecimal tells "0x1f" from a zero with the unit x1f.
func hexadecimal(digits, rest string) bool {
	return digits == "0" && len(rest) > 1 && (rest[0] == 'x' || rest[0] == 'X')
}
