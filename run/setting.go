package run

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Setting is a power setting: watts, or a name where the watts are unknown.
// Settings are equal (==) exactly where they mean the same level; watts are rounded to
// the hundredth. The zero Setting is unknown.
type Setting struct {
	watts   float64 // to 0.01 W, never NaN
	inWatts bool
	name    string
}

// Watts is the setting of so many watts, rounded to 0.01 W. What is no finite
// number becomes 0 W, at which nothing can be compared.
func Watts(w float64) Setting {
	if math.IsNaN(w) || math.IsInf(w, 0) {
		w = 0
	}
	return Setting{watts: roundCenti(w), inWatts: true}
}

// roundCenti rounds to the hundredth. Numbers too large for it are whole anyway.
func roundCenti(w float64) float64 {
	if math.Abs(w) > 1e13 {
		return w
	}
	return math.Round(w*100) / 100
}

// Named is a setting of which only the name is known.
func Named(name string) Setting { return Setting{name: name} }

// Watts is the setting in watts; ok is false where only a name is known, or
// nothing.
func (s Setting) Watts() (w float64, ok bool) { return s.watts, s.inWatts }

// Name is the name of a setting whose watts are unknown, else "".
func (s Setting) Name() string { return s.name }

// Known tells whether the setting has watts or a name.
func (s Setting) Known() bool { return s != Setting{} }

// String is the setting as a label: "25W", "12.5W", the name, or "" when
// unknown.
func (s Setting) String() string {
	if s.inWatts {
		return strconv.FormatFloat(s.watts, 'f', -1, 64) + "W"
	}
	return s.name
}

// profileOrder is the order of power profiles from the least to the most power,
// as the kernel lists them (Documentation/ABI/testing/sysfs-platform_profile).
// Other names follow in the order of the alphabet.
var profileOrder = []string{"low-power", "cool", "quiet", "balanced", "balanced-performance", "performance"}

// Compare orders settings: those in watts first, by watts, then names from the
// profile of the least power to that of the most, other names after them.
func (s Setting) Compare(t Setting) int {
	if s.inWatts != t.inWatts {
		if s.inWatts {
			return -1
		}
		return 1
	}
	return cmp.Or(cmp.Compare(s.watts, t.watts), cmp.Compare(profileRank(s.name), profileRank(t.name)), cmp.Compare(s.name, t.name))
}

// Ordered tells whether the place of the setting among others is known: by its watts,
// or as a profile of the kernel's list.
func (s Setting) Ordered() bool { return s.inWatts || slices.Contains(profileOrder, s.name) }

func profileRank(name string) int {
	if i := slices.Index(profileOrder, name); i >= 0 {
		return i
	}
	return len(profileOrder)
}

// notWatts matches a number with a unit of power other than W, or one that is not written
// as a decimal number; notOneSetting one that is written as a range of watts with a step.
// Taken for a name, such a typing error would go unnoticed.
var (
	notWatts      = regexp.MustCompile(`(?i)^[+-]?[0-9][0-9.,_' ]*(([yzafpnuµμmcdhkgt]|milli|micro|kilo|mega)? ?w(att)?s?h?|ww+|dbm|hp|ps)$|^[+-]?[0-9]+([,_' ][0-9]+)+$`)
	notOneSetting = regexp.MustCompile(strings.ReplaceAll(`(?i)^N ?- ?N ?/ ?N$`, "N", `[+-]?([0-9.][0-9.,_e]*|nan|inf|infinity) ?w?`))
)

// MaxSettingWatts is far above any portable computer's limit; a larger number
// is a typing error or a "no limit" value.
const MaxSettingWatts = 1000

// ParseSetting reads what a user types: "25W", "25 W", "12.5w", "12,5W" or a bare number as
// watts, anything else as a name. Watts must be above 0 and at most 1000; a number
// with another unit of power or in another notation, and a range of watts, are refused.
func ParseSetting(text string) (Setting, error) {
	s := strings.TrimSpace(text)
	if s == "" {
		return Setting{}, fmt.Errorf("setting is empty: give watts (25W) or a name (quiet)")
	}
	number := s
	if strings.HasSuffix(s, "W") || strings.HasSuffix(s, "w") {
		number = strings.TrimSpace(s[:len(s)-1])
	}
	w, err := ParseNumber(number)
	if err != nil {
		if isNumber(number) || notWatts.MatchString(s) || notOneSetting.MatchString(s) {
			return Setting{}, fmt.Errorf("setting %q is neither watts nor a name: give watts above 0, such as 25W or 12.5W%s", text, ThousandsHint(err))
		}
		if len(s) > maxLabel {
			return Setting{}, fmt.Errorf("setting name has %d bytes: at most %d are allowed", len(s), maxLabel)
		}
		return Named(s), nil
	}
	if w <= 0 || w > MaxSettingWatts {
		return Setting{}, fmt.Errorf("setting %q: watts must be above 0 and at most %d", text, MaxSettingWatts)
	}
	return Watts(w), nil
}

// severalWatts are two numbers of watts or more with something between them that parts a
// list, or blanks.
var severalWatts = regexp.MustCompile(strings.ReplaceAll(`(?i)^N(\s*([;|&+/]|\band\b)\s*N|\s+N)+[;\s]*$`, "N", `[0-9]+(?:[.,][0-9]+)?\s*w?`))

// SeveralSettings are the settings that a text seems to list, with another separator than
// the comma: "8;12", "8W 12W". It is nil for all else.
func SeveralSettings(text string) []string {
	if text = strings.TrimSpace(text); !severalWatts.MatchString(text) {
		return nil
	}
	return strings.FieldsFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789.,", r) })
}

// isNumber tells whether text is a number in any notation of Go's, NaN, or one that is
// too large.
func isNumber(text string) bool {
	_, err := strconv.ParseFloat(text, 64)
	_, whole := strconv.ParseInt(text, 0, 64)
	return !errors.Is(err, strconv.ErrSyntax) || !errors.Is(whole, strconv.ErrSyntax)
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

// SourcedSetting is a setting and where it is known from.
type SourcedSetting struct {
	Setting
	Source Source
}

// From is the setting as known from a source.
func (s Setting) From(source Source) SourcedSetting { return SourcedSetting{s, source} }

// settingJSON is a setting as the API shows it.
type settingJSON struct {
	Watts  *float64 `json:"watts"`
	Name   string   `json:"name"`
	Source Source   `json:"source"`
}

// MarshalJSON gives {watts, name, source}; watts is null where unknown.
func (s SourcedSetting) MarshalJSON() ([]byte, error) {
	out := settingJSON{Name: s.name, Source: s.Source}
	if s.inWatts {
		out.Watts = &s.watts
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads what MarshalJSON gives.
func (s *SourcedSetting) UnmarshalJSON(text []byte) error {
	var in settingJSON
	if err := json.Unmarshal(text, &in); err != nil {
		return err
	}
	*s = Named(in.Name).From(in.Source)
	if in.Watts != nil {
		*s = Watts(*in.Watts).From(in.Source)
	}
	return nil
}

// MarshalJSON gives {watts, name, source}: a setting by itself is one that a user
// wrote down, in a plan, so it is as declared.
func (s Setting) MarshalJSON() ([]byte, error) {
	if !s.Known() {
		return s.From("").MarshalJSON()
	}
	return s.From(Declared).MarshalJSON()
}

// UnmarshalJSON reads what MarshalJSON gives.
func (s *Setting) UnmarshalJSON(text []byte) error {
	var sourced SourcedSetting
	err := sourced.UnmarshalJSON(text)
	*s = sourced.Setting
	return err
}

// Equal tells whether the settings mean the same level, as == does.
func (s Setting) Equal(t Setting) bool { return s == t }
