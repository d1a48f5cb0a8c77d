package agent

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Setting is a power setting: watts, or a name when the watts are unknown.
type Setting struct {
	Watts  *float64 `json:"watts"`
	Name   string   `json:"name"` // empty where Watts is known
	Source Source   `json:"source"`
}

// Source says where a setting is known from.
type Source string

// Sources in order of trust.
const (
	Declared Source = "declared" // the user said so
	Command  Source = "command"  // a command the user configured
	Firmware Source = "firmware" // firmware-attributes
	Powercap Source = "powercap" // powercap constraint
	GPU      Source = "gpu"      // GPU power cap
	Profile  Source = "profile"  // platform profile
)

// notWatts fits a number with a unit of power other than W, or written in a way that
// is no decimal number: taken for a name, it would be a slip that nobody sees.
var notWatts = regexp.MustCompile(`(?i)^[+-]?[0-9][0-9.,_' ]*(([yzafpnuµμmcdhkgt]|milli|micro|kilo|mega)? ?w(att)?s?h?|ww+|dbm|hp|ps)$|^[+-]?[0-9]+,[0-9]+$`)

// ParseSetting reads "25W", "25 W", "12.5w" or a bare number as watts, anything
// else as a name. Watts must be above 0 and at most 1000; a number with another
// unit of power is refused.
func ParseSetting(text string) (Setting, error) {
	s := strings.TrimSpace(text)
	if s == "" {
		return Setting{}, fmt.Errorf("setting is empty: give watts (25W) or a name (quiet)")
	}
	number := s
	if strings.HasSuffix(s, "W") || strings.HasSuffix(s, "w") {
		number = strings.TrimSpace(s[:len(s)-1])
	}
	w, err := strconv.ParseFloat(number, 64)
	if err != nil {
		if notWatts.MatchString(s) {
			return Setting{}, fmt.Errorf("setting %q is neither watts nor a name: give watts with a decimal point, such as 25W or 12.5W", text)
		}
		if len(s) > maxLabel {
			return Setting{}, fmt.Errorf("setting name has %d bytes: at most %d are allowed", len(s), maxLabel)
		}
		return Setting{Name: s, Source: Declared}, nil
	}
	if math.IsNaN(w) || w <= 0 || w > maxSettingWatts {
		return Setting{}, fmt.Errorf("setting %q: watts must be above 0 and at most %d", text, maxSettingWatts)
	}
	w = math.Round(w*100) / 100
	return Setting{Watts: &w, Source: Declared}, nil
}

// maxSettingWatts is far above any portable computer's limit; a larger number
// is a typing error or a "no limit" value.
const maxSettingWatts = 1000

// Known tells whether the setting says anything.
func (s Setting) Known() bool { return s.Watts != nil || s.Name != "" }

// String is the setting as a label: "25W", "12.5W", the name, or "" when
// unknown.
func (s Setting) String() string {
	if s.Watts != nil {
		return strconv.FormatFloat(*s.Watts, 'f', -1, 64) + "W"
	}
	return s.Name
}

// Same tells whether two settings mean the same level, wherever they are known
// from.
func (s Setting) Same(t Setting) bool { return s.String() == t.String() }
