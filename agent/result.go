package agent

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// CheckResult tells why a result cannot be kept.
func CheckResult(name string, r Result) error {
	if err := CheckLabel("result name", name); err != nil {
		return err
	}
	if strings.ContainsAny(name, "=,") {
		return fmt.Errorf("result name %q may not hold '=' or ','", name)
	}
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return fmt.Errorf("result %s=%v is not a finite number", name, r.Value)
	}
	if r.Better != Higher && r.Better != Lower {
		return fmt.Errorf("result %s: better is %q, want higher or lower", name, r.Better)
	}
	return nil
}

// ParseResult reads NAME=VALUE[UNIT], for example "fps_mean=61.4fps".
func ParseResult(text string) (name string, r Result, err error) {
	name, rest, found := strings.Cut(text, "=")
	name, rest = strings.TrimSpace(name), strings.TrimSpace(rest)
	if !found || name == "" {
		return "", Result{}, fmt.Errorf("result %q: want NAME=VALUE or NAME=VALUEUNIT, such as score=1234 or fps_mean=61.4fps", text)
	}
	end := numberPrefix(rest)
	v, err := strconv.ParseFloat(rest[:end], 64)
	if err != nil {
		return "", Result{}, fmt.Errorf("result %q: %q is not a number", text, rest)
	}
	r = Result{Value: v, Unit: strings.TrimSpace(rest[end:]), Better: Higher}
	return name, r, CheckResult(name, r)
}

// numberPrefix is the length of the longest decimal number that text begins
// with. "3e" is 3 with the unit e; "1e3" is a thousand.
func numberPrefix(text string) int {
	best := 0
	for i := 1; i <= len(text); i++ {
		if c := text[i-1]; (c < '0' || c > '9') && !strings.ContainsRune("+-.eE", rune(c)) {
			break
		}
		if _, err := strconv.ParseFloat(text[:i], 64); err == nil {
			best = i
		}
	}
	return best
}
