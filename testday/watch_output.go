package testday

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"regexp/syntax"
	"strings"
	"sync"

	"sweepd/run"
)

// OutputRules say how results are taken from what a command prints.
type OutputRules struct {
	rules []outputRule
	json  bool // some rule has a path
}

// Names are the results that the rules give.
func (r *OutputRules) Names() []string {
	names := make([]string, len(r.rules))
	for i, x := range r.rules {
		names[i] = x.name
	}
	return names
}

// Rename has the rules give a result another name.
func (r *OutputRules) Rename(from, to string) {
	for i := range r.rules {
		if r.rules[i].name == from {
			r.rules[i].name = to
		}
	}
}

// outputRule has a pattern for lines, or a path into JSON.
type outputRule struct {
	name    string
	pattern *regexp.Regexp // nil for a path
	path    jsonPath
}

// ParseOutputRules reads rules of the form NAME=REGEX, in the syntax of Go's regexp,
// or NAME=$.PATH, a singular query of RFC 9535. The number, with its unit if one
// follows, is what the first pair of brackets encloses, or where the path leads.
func ParseOutputRules(texts []string) (*OutputRules, error) {
	o := &OutputRules{}
	for _, text := range texts {
		r, err := parseOutputRule(text)
		if err != nil {
			return nil, requestError(err)
		}
		o.rules = append(o.rules, r)
		o.json = o.json || r.pattern == nil
	}
	return o, nil
}

func parseOutputRule(text string) (r outputRule, err error) {
	name, expression, ok := strings.Cut(text, "=")
	if !ok {
		return r, fmt.Errorf("rule %q is not NAME=REGEX, such as 'score=total score: ([0-9.]+)'", run.Shorten(text))
	}
	if err := run.CheckLabel("name of a result", name); err != nil {
		return r, err
	}
	r.name = name
	if isJSONPath(expression) {
		if r.path, err = parseJSONPath(expression); err != nil {
			return r, fmt.Errorf("rule for %s: %w", name, err)
		}
		return r, nil
	}
	if r.pattern, err = regexp.Compile(expression); err != nil {
		var wrong *syntax.Error
		if errors.As(err, &wrong) {
			return r, fmt.Errorf("rule for %s: the pattern %q cannot be read: %s", name, run.Shorten(expression), wrong.Code)
		}
		return r, fmt.Errorf("rule for %s: %w", name, err)
	}
	if r.pattern.NumSubexp() < 1 {
		return r, fmt.Errorf("rule for %s: %q has no brackets around the number, such as 'total score: ([0-9.]+)'", name, run.Shorten(expression))
	}
	return r, nil
}

// output is what one command printed, as far as its rules are about it.
type output struct {
	*OutputRules
	mu      sync.Mutex // guards the rest: output and errors come at once
	streams []*stream
	found   map[string]string // by result, in the last line that fitted
}

func (o *OutputRules) newOutput() *output { return &output{OutputRules: o, found: map[string]string{}} }

// maxLine is the longest line that is looked at; what is beyond it is not.
const maxLine = 64 << 10

// stream is one of the command's. Writing to it never fails.
type stream struct {
	of   *output
	line []byte
	tail tail // where some rule has a path
}

func (o *output) stream() io.Writer {
	o.mu.Lock()
	defer o.mu.Unlock()
	s := &stream{of: o}
	o.streams = append(o.streams, s)
	return s
}

func (s *stream) Write(p []byte) (int, error) {
	s.of.mu.Lock()
	defer s.of.mu.Unlock()
	if s.of.json {
		s.tail.keep(p)
	}
	for rest := p; len(rest) > 0; {
		end := bytes.IndexAny(rest, "\r\n")
		if end < 0 {
			s.keep(rest)
			break
		}
		s.keep(rest[:end])
		s.endLineLocked()
		rest = rest[end+1:]
	}
	return len(p), nil
}

func (s *stream) keep(part []byte) {
	s.line = append(s.line, part[:min(len(part), maxLine-len(s.line))]...)
}

// endLineLocked looks at the line so far.
func (s *stream) endLineLocked() {
	for _, r := range s.of.rules {
		if r.pattern == nil {
			continue
		}
		if m := r.pattern.FindSubmatch(s.line); m != nil {
			s.of.found[r.name] = string(m[1])
		}
	}
	s.line = s.line[:0]
}

// results are those of the last lines that fitted, once the command has ended. The
// error names those that were not found or are no numbers; the others are returned
// all the same.
func (o *output) results() (Results, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, s := range o.streams {
		s.endLineLocked() // a last line without an end counts
	}
	list := Results{}
	var errs []error
	for _, r := range o.rules {
		text, ok := o.textOfLocked(r)
		if !ok && r.pattern == nil {
			errs = append(errs, fmt.Errorf("result %s: no JSON in the output has a number at %s", r.name, r.path.text))
			continue
		}
		if !ok {
			errs = append(errs, fmt.Errorf("result %s: no line of the output fits %q", r.name, r.pattern))
			continue
		}
		x, err := parseValue(r.name, text)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		list[r.name] = x
	}
	return list, errors.Join(errs...)
}

// textOfLocked is what the output says of a rule: in its last line that fits, or in
// the last JSON of the first stream that has the path.
func (o *output) textOfLocked(r outputRule) (string, bool) {
	if r.pattern != nil {
		text, ok := o.found[r.name]
		return text, ok
	}
	for _, s := range o.streams {
		if text, ok := s.tail.last(r.path); ok {
			return text, true
		}
	}
	return "", false
}
