package sentence

import (
	"fmt"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/run"
)

// Tone is how a text is meant.
type Tone int

const (
	Plain    Tone = iota
	Good          // something was found
	Doubtful      // something could not be, or needs a look
	Bad           // something does not count
)

// Sentence is one sentence about a result.
type Sentence struct {
	Tone Tone
	Text string
}

// list collects sentences.
type list []Sentence

func (l *list) say(format string, args ...any) { l.tell(Plain, fmt.Sprintf(format, args...)) }

func (l *list) tell(t Tone, text string) { *l = append(*l, Sentence{t, text}) }

// Setting is watts with their unit, or the name where the watts are unknown.
func Setting(watts analysis.Number, name string) string {
	if watts.Known() {
		return Watts(float64(watts)) + " W"
	}
	return name
}

// SettingOf is a setting as Setting has it: "10 W", or its name.
func SettingOf(s run.Setting) string {
	if w, ok := s.Watts(); ok {
		return Setting(analysis.Number(w), "")
	}
	return s.Name()
}

// Range is a stretch of settings.
func Range(from, to string) string {
	if from == to {
		return "at " + from
	}
	return "from " + from + " to " + to
}

// Interval is " (2.2 to 4.0)", empty where an end is unknown.
func Interval(lower, upper analysis.Number, decimals int) string {
	if !lower.Known() || !upper.Known() {
		return ""
	}
	return " (" + Fixed(float64(lower), decimals) + " to " + Fixed(float64(upper), decimals) + ")"
}

// HalfWidth is half of an interval, NaN where an end is unknown.
func HalfWidth(lower, upper analysis.Number) float64 { return float64(upper-lower) / 2 }

// flagged names the runs that differ from their repeats, and the pairs of runs that
// differ from each other.
func (l *list) flagged(runs []analysis.FlaggedRun) {
	var odd, pairs []string
	for i := 0; i < len(runs); i++ {
		f := runs[i]
		name, at := run.ShortID(f.Run), " at "+Setting(f.SettingW, f.Setting)
		if f.N == 2 && i+1 < len(runs) { // its repeat is named next
			i++
			pairs = append(pairs, name+" and "+run.ShortID(runs[i].Run)+at)
			continue
		}
		odd = append(odd, name+at)
	}
	if len(odd) > 0 {
		l.say("Unlike %s, and counted all the same: %s.", plural(len(odd), "its repeats", "their repeats"), strings.Join(odd, ", "))
	}
	if len(pairs) > 0 {
		l.say("Unlike each other, and counted all the same: %s.", strings.Join(pairs, ", "))
	}
}

// Group names a group by its workload and by what else of it is known.
func Group(workload string, others ...string) string {
	return strings.Join(append([]string{workload}, nonEmpty(others)...), ", ")
}

// Joined puts commas between the texts that are not empty.
func Joined(texts ...string) string { return strings.Join(nonEmpty(texts), ", ") }

func nonEmpty(texts []string) []string {
	return slices.DeleteFunc(slices.Clone(texts), func(s string) bool { return s == "" })
}

// OrEmpty is the text, "" for nil.
func OrEmpty(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// mostListed is how many words a sentence names in a list.
const mostListed = 10

func listed(words []string) string { return Listed(words, mostListed) }

// Listed is a list within a sentence, of which it names so many words at most: "5 W, 8 W
// and 10 W", "5 W, 8 W and 7 more".
func Listed(words []string, most int) string {
	last := len(words) - 1
	switch {
	case last < 0:
		return "nothing"
	case last == 0:
		return words[0]
	case len(words) > most:
		return fmt.Sprintf("%s and %d more", strings.Join(words[:most], ", "), len(words)-most)
	}
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

// Counted is a number with its noun: "1 run", "2 runs".
func Counted(n int, noun string) string { return fmt.Sprint(n) + " " + plural(n, noun, noun+"s") }

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// Capital writes the first letter large.
func Capital(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
