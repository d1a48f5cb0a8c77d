package main

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"sweepd/analysis"
)

// oneNumber is a difference or a place as JSON has it: in percent or in watts.
type oneNumber struct{ v, lower, upper float64 }

// rounds tells whether a text is a number rounded to the decimals of the text.
func rounds(text string, v float64) bool {
	shown, err := strconv.ParseFloat(text, 64)
	places := 0
	if _, decimals, found := strings.Cut(text, "."); found {
		places = len(decimals)
	}
	return err == nil && math.Abs(shown-v) <= 0.5*math.Pow10(-places)*(1+1e-9)
}

func (n oneNumber) is(m []string) bool {
	return rounds(m[0], n.v) && rounds(m[1], n.lower) && rounds(m[2], n.upper)
}

// A difference is one number wherever it stands: what compare says in sentences is a/b - 1 of
// its JSON, or the crossing, rounded, with the words for its sign; and no quantity has two
// intervals.
func TestSentencesHaveTheNumbersOfJSON(t *testing.T) {
	campaign(t, alone(t))
	said := 0
	for _, args := range []string{
		"compare --by device --supply mains", "compare --by device --a unit-oak --b unit-elm", "compare --by supply --device unit-oak", "compare --by device --at package",
		"compare --by device --supply mains --lower fps_mean", "compare --by device --supply mains --price unit-oak=599EUR --price unit-elm=449EUR",
		"compare --by device --supply mains --price unit-oak=449EUR --price unit-elm=599EUR",
	} {
		r := asked[struct {
			analysis.CompareResult
			Value *analysis.ValueResult
		}](t, args)
		var differences, crossings []oneNumber
		settings := map[string][]float64{} // by the setting in words
		add := func(d, lower, upper analysis.Number) {
			differences = append(differences, oneNumber{100 * float64(d), 100 * float64(lower), 100 * float64(upper)})
		}
		for i := range r.Comparisons {
			c := r.Comparisons[i].Kept()
			for _, b := range c.Bands {
				add(b.Diff, b.Lower, b.Upper)
			}
			for _, x := range c.Crossings {
				crossings = append(crossings, oneNumber{float64(x.AtW), float64(x.LowerW), float64(x.UpperW)})
			}
			if c.Overall != nil {
				add(c.Overall.Diff, c.Overall.Lower, c.Overall.Upper)
			}
			for _, s := range c.Settings {
				for _, decimals := range []int{0, 1} {
					at := strconv.FormatFloat(float64(s.SettingW), 'f', decimals, 64)
					settings[at] = append(settings[at], 100*float64(s.Diff))
				}
			}
		}
		for _, x := range r.AcrossPairs {
			add(x.Diff, x.Lower, x.Upper)
		}
		if r.Value != nil {
			for _, v := range r.Value.Values {
				o := v.Overall
				if o.Diff != r.Comparisons[0].OverallFollowed.Diff {
					t.Errorf("%s: the difference for the price %v, compared %v", args, o.Diff, r.Comparisons[0].OverallFollowed.Diff)
				}
			}
		}
		text := strings.Join(strings.Fields(must(t, strings.Fields(args)...)), " ")
		lower := strings.Contains(args, "--lower")
		const number, within = `(-?[0-9.]+)`, ` %[a-z ]*\((-?[0-9.]+) to (-?[0-9.]+)\)`
		seen := map[string]bool{}
		for _, m := range regexp.MustCompile(`(ahead by|behind by|ahead, with|behind, with) `+number+within).FindAllStringSubmatch(text, -1) {
			found := false
			for _, d := range differences {
				ahead := d.v > 0 != lower
				if d.v < 0 {
					d = oneNumber{-d.v, -d.upper, -d.lower}
				}
				found = found || d.is(m[2:]) && ahead == strings.HasPrefix(m[1], "ahead")
			}
			if !found {
				t.Errorf("%s: %q is no difference of the JSON: %v", args, m[0], differences)
			}
			if strings.Contains(args, "--supply mains") && !strings.Contains(args, "price") && seen[m[0]] {
				t.Errorf("%s: %q is said twice", args, m[0])
			}
			seen[m[0]] = true
			said++
		}
		for _, m := range regexp.MustCompile(number+` % at ([0-9.]+) W`).FindAllStringSubmatch(text, -1) {
			found := false
			for _, d := range settings[m[2]] {
				found = found || rounds(m[1], math.Abs(d))
			}
			if !found {
				t.Errorf("%s: %q is no difference of that setting in JSON: %v", args, m[0], settings[m[2]])
			}
			said++
		}
		if strings.Count(text, "The lead changes at ") != min(len(crossings), strings.Count(text, "The lead changes at ")) || len(crossings) > 0 && !strings.Contains(text, "The lead changes at ") {
			t.Errorf("%s: %d crossings:\n%s", args, len(crossings), text)
		}
		for _, m := range regexp.MustCompile(`The lead changes at `+number+` W \((-?[0-9.]+) to (-?[0-9.]+)\)`).FindAllStringSubmatch(text, -1) {
			found := false
			for _, x := range crossings {
				found = found || x.is(m[1:])
			}
			if !found {
				t.Errorf("%s: %q is no crossing of the JSON: %v", args, m[0], crossings)
			}
			if strings.Contains(text, "On the mean over") && len(r.Comparisons) == 1 {
				t.Errorf("%s: the curves cross, and the mean is said beside it:\n%s", args, text)
			}
			said++
		}
	}
	if said < 20 {
		t.Errorf("only %d numbers were found in sentences", said)
	}
}
