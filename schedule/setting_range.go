package schedule

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"sweepd/run"
)

// settingRange is a range of watts with a step, written as in cron: 8-28/4.
var settingRange = regexp.MustCompile(`^\s*([0-9.,]+)\s*W?\s*-\s*([0-9.,]+)\s*W?\s*/\s*([0-9.,]+)\s*W?\s*$`)

// unfinishedRange is what was meant as a range: two numbers of watts with a dash or
// dots between them.
var unfinishedRange = regexp.MustCompile(`^\s*([0-9]+(?:[.,][0-9]+)?)\s*[Ww]?\s*(?:-|–|—|\.\.+|…|:|\bto\b)\s*([0-9]+(?:[.,][0-9]+)?)\s*[Ww]?\s*(/.*)?$`)

// maxSettings is the most settings in a range; more are a typing error.
const maxSettings = 200

// ParseSettings reads a setting ("25W", "quiet") or a range of watts with a step,
// "8-28/4": 8, 12, ... 28. The last setting of a range is the last step that does
// not go beyond its end.
func ParseSettings(text string) ([]run.Setting, error) {
	m := settingRange.FindStringSubmatch(text)
	if m == nil {
		if half := unfinishedRange.FindStringSubmatch(text); half != nil {
			return nil, rangeError(text, half[1], half[2], half[3])
		}
		if list := severalSettings(text); list != nil {
			return nil, fmt.Errorf("settings %q: settings are parted by commas: %s", run.Shorten(text), run.Shorten(strings.Join(list, ",")))
		}
		s, err := run.ParseSetting(text)
		if err != nil {
			return nil, err
		}
		return []run.Setting{s}, nil
	}
	var bounds [3]float64
	for i, number := range m[1:] {
		v, err := run.ParseNumber(number)
		if err != nil {
			return nil, fmt.Errorf("settings %q: %q is not a number of watts%s", text, number, run.ThousandsHint(err))
		}
		bounds[i] = v
	}
	from, to, step := bounds[0], bounds[1], bounds[2]
	if step <= 0 || to < from {
		return nil, fmt.Errorf("settings %q: want FROM-TO/STEP in watts, rising, such as 8-28/4", text)
	}
	n := int(math.Floor((to-from)/step+1e-9)) + 1
	if n > maxSettings {
		return nil, fmt.Errorf("settings %q are %d settings: at most %d are allowed", text, n, maxSettings)
	}
	list := make([]run.Setting, n)
	for i := range list {
		s, err := run.ParseSetting(strconv.FormatFloat(from+float64(i)*step, 'f', 6, 64) + "W")
		if err != nil {
			return nil, err
		}
		list[i] = s
	}
	return list, nil
}

// severalSettings are the settings that a text seems to list without commas; nil for all
// else. No name of a setting has a semicolon.
func severalSettings(text string) []string {
	if list := run.SeveralSettings(text); list != nil {
		return list
	}
	list := strings.FieldsFunc(text, func(r rune) bool { return r == ';' })
	if len(list) < 2 {
		return nil
	}
	for i := range list {
		list[i] = strings.TrimSpace(list[i])
	}
	return list
}

// rangeError says how a range is written that was begun in another way.
func rangeError(text, from, to, step string) error {
	if step == "" {
		return fmt.Errorf("settings %q: a range says its step, such as %s-%s/4 for every 4 W", text, from, to)
	}
	return fmt.Errorf("settings %q: want FROM-TO/STEP in watts, such as 8-28/4", text)
}
