package console

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"sync"

	"sweepd/run"
)

// ResultScanner takes results from what a command prints.
type ResultScanner struct {
	rules   []resultRule
	json    bool       // some rule has a path
	mu      sync.Mutex // guards the rest: output and errors are scanned at once
	streams []*lineScanner
	found   map[string]string
}

// resultRule has a pattern for lines, or a path into JSON.
type resultRule struct {
	name    string
	pattern *regexp.Regexp // nil for a path
	path    jsonPath
}

// NewResultScanner reads rules of the form NAME=REGEX, in the syntax of Go's
// regexp, or NAME=$.PATH, a singular query of RFC 9535. The number, with its unit if
// one follows, is what the first pair of brackets encloses, or where the path leads.
func NewResultScanner(rules []string) (*ResultScanner, error) {
	s := &ResultScanner{found: map[string]string{}}
	for _, text := range rules {
		name, expression, ok := strings.Cut(text, "=")
		if !ok {
			return nil, fmt.Errorf("rule %q is not NAME=REGEX, such as 'score=total score: ([0-9.]+)'", shorten(text))
		}
		if err := run.CheckLabel("name of a result", name); err != nil {
			return nil, err
		}
		if isJSONPath(expression) {
			path, err := parseJSONPath(expression)
			if err != nil {
				return nil, fmt.Errorf("rule for %s: %w", name, err)
			}
			s.rules = append(s.rules, resultRule{name: name, path: path})
			s.json = true
			continue
		}
		pattern, err := regexp.Compile(expression)
		if err != nil {
			return nil, fmt.Errorf("rule for %s: %w", name, err)
		}
		if pattern.NumSubexp() < 1 {
			return nil, fmt.Errorf("rule for %s: %q has no brackets around the number, such as 'total score: ([0-9.]+)'", name, shorten(expression))
		}
		s.rules = append(s.rules, resultRule{name: name, pattern: pattern})
	}
	return s, nil
}

// maxLine is the longest line that is looked at; what is beyond it is not.
const maxLine = 64 << 10

// Stream returns a writer for one stream of the command's. It never fails.
func (s *ResultScanner) Stream() io.Writer {
	s.mu.Lock()
	defer s.mu.Unlock()
	l := &lineScanner{scanner: s}
	s.streams = append(s.streams, l)
	return l
}

type lineScanner struct {
	scanner *ResultScanner
	line    []byte
	tail    tail // where some rule has a path
}

func (l *lineScanner) Write(p []byte) (int, error) {
	l.scanner.mu.Lock()
	defer l.scanner.mu.Unlock()
	if l.scanner.json {
		l.tail.keep(p)
	}
	for rest := p; len(rest) > 0; {
		end := bytes.IndexAny(rest, "\r\n")
		if end < 0 {
			l.keep(rest)
			break
		}
		l.keep(rest[:end])
		l.endLocked()
		rest = rest[end+1:]
	}
	return len(p), nil
}

func (l *lineScanner) keep(part []byte) {
	l.line = append(l.line, part[:min(len(part), maxLine-len(l.line))]...)
}

// endLocked looks at the line so far.
func (l *lineScanner) endLocked() {
	for _, r := range l.scanner.rules {
		if r.pattern == nil {
			continue
		}
		if m := r.pattern.FindSubmatch(l.line); m != nil {
			l.scanner.found[r.name] = string(m[1])
		}
	}
	l.line = l.line[:0]
}

// Results are the results of the last lines that fitted, once the command has
// ended. The error names those
// that were not found or are no numbers; the others are returned all the same.
func (s *ResultScanner) Results() (map[string]ResultMessage, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, l := range s.streams {
		l.endLocked() // a last line without an end counts
	}
	out := map[string]ResultMessage{}
	var errs []error
	for _, r := range s.rules {
		text, ok := s.textOfLocked(r)
		if !ok && r.pattern == nil {
			errs = append(errs, fmt.Errorf("result %s: no JSON in the output has a number at %s", r.name, r.path.text))
			continue
		}
		if !ok {
			errs = append(errs, fmt.Errorf("result %s: no line of the output fits %q", r.name, r.pattern))
			continue
		}
		v, err := ParseValue(text)
		if err != nil {
			errs = append(errs, fmt.Errorf("result %s: %w", r.name, err))
			continue
		}
		out[r.name] = ResultMessage{Value: &v.Value, Unit: v.Unit}
	}
	return out, errors.Join(errs...)
}

// textOfLocked is what the output says of a rule: in its last line that fits, or in
// the last JSON of the first stream that has the path.
func (s *ResultScanner) textOfLocked(r resultRule) (string, bool) {
	if r.pattern != nil {
		text, ok := s.found[r.name]
		return text, ok
	}
	for _, l := range s.streams {
		if text, ok := l.tail.last(r.path); ok {
			return text, true
		}
	}
	return "", false
}
