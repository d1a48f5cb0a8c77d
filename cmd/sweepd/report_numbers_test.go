package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"sweepd/internal/readpage"
)

// Every number that a sentence of the summary of the page says is one of the JSON answers
// about the same workload, device and supply, to its last digit.
func TestNumbersOfThePageAreThoseOfTheAnswers(t *testing.T) {
	campaign(t, alone(t))
	numbersAgree(t, filepath.Join(t.TempDir(), "report"))
}

// numbersAgree reports on the data of the environment and holds the page's summary against
// the answers.
func numbersAgree(t *testing.T, out string) {
	t.Helper()
	answers := map[string]any{"report": parsed[any](t, "report --out "+out+" --json")}
	asked := []string{"compare --by device", "compare --by device --at package", "compare --by supply", "battery", "run list"}
	for _, workload := range []string{"harbour-flight", "tile-sort"} { // each by its own metric
		asked = append(asked, "curve --workload "+workload)
	}
	for _, words := range asked {
		if o := sweepd(t, append(strings.Fields(words), "--json")...); o.code == exitOK {
			var answer any
			if err := json.Unmarshal([]byte(o.out), &answer); err != nil {
				t.Fatal(err)
			}
			answers[words] = answer
		}
	}
	text, err := os.ReadFile(filepath.Join(out, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	checked, others, chance := 0, 0, 0
	for _, s := range readpage.Said(string(text)) {
		known := numbersAbout(answers, s)
		for _, n := range numbersIn(s) {
			checked++
			if !n.isOneOf(known) {
				t.Errorf("%s (%g %s) is in no answer about it: %s", n.text, n.value, n.unit, s)
			}
			if n.unit == "W" { // of whole watts many are a setting
				continue
			}
			if others++; (saidNumber{value: n.value * 1.07, ulp: n.ulp, unit: n.unit}).isOneOf(known) {
				chance++
			}
		}
	}
	if testing.Verbose() {
		t.Logf("%d numbers; of %d that are no settings, %d had passed if they were 7 %% larger", checked, others, chance)
	}
	if others < 20 || chance > others/2 {
		t.Error("the numbers are hardly held against anything")
	}
}

// A saidNumber is a number of a sentence: value, half of its last digit, and its unit: "%",
// "W", "h", or "" for a result's.
type saidNumber struct {
	text       string
	value, ulp float64
	unit       string
}

// numbersIn are the numbers of a sentence, without ids of runs, what the reader chose or
// the methods fix (95 % of the best, level within 2 %, how many runs are asked for), and
// names. Times are in h.
func numbersIn(sentence string) (list []saidNumber) {
	_, said, about := strings.Cut(sentence, ": ")
	if !about {
		said = sentence
	}
	// What cannot be told is no claim, and so its bounds are not listed.
	said, _, _ = strings.Cut(said, "it cannot be told who is ahead: ")
	said = regexp.MustCompile(`\b[0-9a-f]{8}\b|95 % of the best|level within 2 %|\d+ to \d+ more runs|\d+ more runs?|\d+ at \d+ W`).ReplaceAllString(said, "")
	number := regexp.MustCompile(`(\d+) h (\d\d) min|(\d+(?:\.\d+)?)`)
	// The unit follows, perhaps after the other end of a range; else it is that of the
	// number before the brackets.
	following, unit := regexp.MustCompile(`^(?: to −?\d[\d.]*)? (%|[[:alpha:]]+)`), ""
	for at := number.FindStringSubmatchIndex(said); at != nil; at = number.FindStringSubmatchIndex(said) {
		group := func(i int) string {
			if at[2*i] < 0 {
				return ""
			}
			return said[at[2*i]:at[2*i+1]]
		}
		n := saidNumber{text: said[at[0]:at[1]]}
		end := at[1]
		if group(1) != "" {
			h, _ := strconv.ParseFloat(group(1), 64)
			min, _ := strconv.ParseFloat(group(2), 64)
			n.value, n.ulp, unit = h+min/60, 0.5/60, "h"
		} else {
			n.text = group(3)
			n.value, _ = strconv.ParseFloat(n.text, 64)
			_, decimals, _ := strings.Cut(n.text, ".")
			n.ulp = 0.5 * math.Pow(10, -float64(len(decimals)))
			if m := following.FindStringSubmatch(said[end:]); m != nil && m[1] != "to" {
				unit = m[1]
			}
			if unit == "min" || unit == "h" {
				n.value, n.ulp, unit = n.value/60, n.ulp/60, "h"
			}
		}
		if n.unit = unit; unit != "%" && unit != "W" && unit != "h" {
			n.unit = ""
		}
		list = append(list, n)
		said = said[end:]
	}
	return list
}

// isOneOf tells whether a number of its unit rounds to what was said.
func (n saidNumber) isOneOf(known map[string][]float64) bool {
	return slices.ContainsFunc(known[n.unit], func(k float64) bool { return math.Abs(math.Abs(k)-n.value) <= n.ulp*1.0001 })
}

// numbersAbout are the numbers of answers that are about what a sentence names, by unit.
func numbersAbout(answers map[string]any, sentence string) map[string][]float64 {
	about, _, found := strings.Cut(sentence, ": ")
	if !found {
		about = ""
	}
	at := map[bool]string{false: "setting", true: "package"}[strings.Contains(about, "equal package")]
	ofOneDevice := strings.Contains(about, "unit-") && !strings.Contains(about, "against")
	known := map[string][]float64{}
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case []any:
			for _, x := range v {
				walk(x)
			}
		case map[string]any:
			for field, words := range map[string][]string{"workload": {"harbour-flight", "tile-sort"}, "device": {"unit-oak", "unit-elm"}, "supply": {"battery", "mains"}} {
				value, _ := v[field].(string)
				other := false
				for _, word := range words {
					other = other || value != "" && word != value && strings.Contains(about, word)
				}
				if other && !strings.Contains(about, value) {
					return
				}
			}
			if is, _ := v["at"].(string); about != "" && is != "" && is != at {
				return
			}
			if factor, _ := v["factor"].(string); about != "" && factor != "" && (factor == "supply") != ofOneDevice {
				return
			}
			_, differs := v["diff"]
			_, changes := v["change"]
			for field, x := range v {
				switch number, is := x.(float64); {
				case !is:
					walk(x)
				case (field == "package_w" || field == "system_w") && !strings.Contains(sentence, "package") && !strings.Contains(sentence, "drew"):
				case strings.HasSuffix(field, "_w") || field == "watts":
					known["W"] = append(known["W"], number)
				case strings.HasSuffix(field, "_h"):
					known["h"] = append(known["h"], number)
				case field == "diff" || field == "change" || (differs || changes) && (field == "lower" || field == "upper"):
					known["%"] = append(known["%"], 100*number)
				case field == "mean" || field == "lower" || field == "upper":
					known[""] = append(known[""], number)
				}
			}
		}
	}
	for words, answer := range answers {
		if about == "" || !strings.Contains(words, "--by") || strings.Contains(words, "--at package") == (at == "package") && strings.Contains(words, "supply") == ofOneDevice {
			walk(answer)
		}
	}
	return known
}
