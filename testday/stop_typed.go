package testday

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"sweepd/run"
)

// TypedStop is a command to stop a run, as a person typed it. The run ends, whatever is
// wrong with the rest.
type TypedStop struct {
	// Words may name the run; without one it is the run that is recording.
	Words   []string
	Results []string // NAME=VALUE[UNIT]
	Lower   []string // those of which less is better
	Slips   []Slip
}

// Slip is a flag that could not be understood.
type Slip struct {
	Text  string // what is wrong
	Meant string // the result that may have been meant, NAME=VALUE[UNIT], or MeantFrames; "" for none
}

// MeantFrames is what a slip meant in how a file of frame times is read: none is read then.
const MeantFrames = "--frames FILE"

// StopTyped ends the run that is meant, then gives it what could be understood of its
// results and the results of its frame times, which read makes (nil: there are none). The
// error is an *EndedError where the run has ended and that was not all.
func StopTyped(ctx context.Context, a CorrectingAgent, t TypedStop, read func() (FrameResults, error)) (run.Record, error) {
	stop, unusable := t.stop()
	if read != nil && !slices.Contains(unusable.Missing, MeantFrames) {
		return unusable.after(StopWithFrames(ctx, a, stop, read))
	}
	return unusable.after(Stop(ctx, a, stop))
}

func (t TypedStop) stop() (s run.Stop, u Unusable) {
	for _, slip := range t.Slips {
		missing := ""
		if _, _, err := parseResult(slip.Meant); err == nil {
			missing = quoted(slip.Meant)
		} else if slip.Meant == MeantFrames {
			missing = MeantFrames
		}
		u.Add(missing, errors.New(slip.Text))
	}
	texts := slices.Clone(t.Results)
	for _, word := range t.Words {
		last := len(texts) - 1
		switch {
		case strings.Contains(word, "="):
			u.Add(missingResult(word), fmt.Errorf("%q names no run: a result is given with --result", run.Shorten(word)))
		case last >= 0 && looseUnit(texts[last], word):
			texts[last] += word
		case s.Run == "":
			s.Run = word
		default:
			u.Add("", fmt.Errorf("%q is one word too many", run.Shorten(word)))
		}
	}
	results, wrong := parseResults(texts, t.Lower)
	for _, w := range wrong {
		u.Add(missingResult(w.text), w.err)
	}
	for _, name := range t.Lower {
		if _, there := results[name]; !there {
			u.Missing = append(u.Missing, "--lower "+quoted(name))
		}
	}
	s.Results, s.By = results, ByStop
	return s, u
}

// partOfID is what may be a part of a run's id.
var partOfID = regexp.MustCompile(`^[0-9A-Fa-f-]+$`)

// MayNameRun tells whether a word may be meant as a part of a run's id, rather than as a
// number or a text.
func MayNameRun(word string) bool {
	_, err := run.ParseNumber(word)
	return len(word) >= run.MinIDPart && partOfID.MatchString(word) && err != nil
}

// looseUnit tells whether a word is the unit of a result that has none, cut off by a
// space, rather than the name of a run.
func looseUnit(result, word string) bool {
	_, r, err := parseResult(result)
	return err == nil && r.Unit == "" && len(word) < run.MinIDPart && unit.MatchString(word) && !partOfID.MatchString(word)
}

// missingResult is how a result is given later whose text could not be understood; "" for
// what only qualifies another.
func missingResult(text string) string {
	name, value, given := strings.Cut(text, "=")
	name = strings.TrimSpace(name)
	if _, _, err := parseResult(text); err == nil {
		return quoted(name + "=" + strings.TrimSpace(value))
	}
	if !given || run.CheckResult(name, run.Result{Better: run.Higher}) != nil {
		return "NAME=VALUE"
	}
	return quoted(name + "=…")
}

// plainWord needs no quotes on a command line.
var plainWord = regexp.MustCompile(`^[\pL\pN_.,=…%°/+:-]+$`)

// quoted is a word as it is typed on a command line.
func quoted(word string) string {
	if plainWord.MatchString(word) {
		return word
	}
	return fmt.Sprintf("%q", word)
}

// wrongResult is a text that is no result.
type wrongResult struct {
	text string
	err  error
}

// parseResults is ParseResults for a caller who can do with a part.
func parseResults(texts, lower []string) (out Results, wrong []wrongResult) {
	out = make(Results, len(texts))
	twice := map[string]bool{}
	for _, text := range texts {
		name, r, err := parseResult(text)
		if _, again := out[name]; err == nil && (again || twice[name]) {
			delete(out, name) // which of them is right is not known
			twice[name] = true
			text, err = name+"=", fmt.Errorf("result %s is given twice", name)
		} else if err == nil {
			out[name] = r
		}
		if err != nil {
			wrong = append(wrong, wrongResult{text, err})
		}
	}
	for _, name := range lower {
		r, there := out[name]
		if there {
			r.Better = run.Lower
			out[name] = r
			continue
		}
		unread := slices.ContainsFunc(wrong, func(w wrongResult) bool {
			before, _, _ := strings.Cut(w.text, "=")
			return strings.TrimSpace(before) == name
		})
		if !unread {
			wrong = append(wrong, wrongResult{name + "=", fmt.Errorf("--lower %s names no result that is given", run.Shorten(name))})
		}
	}
	return out, wrong
}
