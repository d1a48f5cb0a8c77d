package testday

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/theory/jsonpath"

	"sweepd/run"
)

// jsonPath is a singular query of RFC 9535 (2.3.5.1): names and indices that lead
// to one value at most, such as $.summary['fps mean'] or $.scenes[-1].fps.
type jsonPath struct {
	text  string
	query *jsonpath.Path
}

// isJSONPath tells a query from a regular expression, which has no use for a line's
// end in front.
func isJSONPath(text string) bool { return strings.HasPrefix(text, "$") }

const jsonPathHow = "a JSON path leads to one value, such as $.summary.fps or $['load time'][0]"

func parseJSONPath(text string) (p jsonPath, err error) {
	p.text = text
	if p.query, err = jsonpath.Parse(strings.TrimRight(text, " ")); err != nil {
		return p, fmt.Errorf("%q: %w: %s", run.Shorten(text), err, jsonPathHow)
	}
	switch q := p.query.Query(); {
	case len(q.Segments()) == 0:
		return p, fmt.Errorf("%q names nothing: %s", text, jsonPathHow)
	case q.Singular() == nil:
		return p, fmt.Errorf("%q: %w: %s", run.Shorten(text), errors.New("it may lead to several values"), jsonPathHow)
	}
	return p, nil
}

// maxJSON is how much of a stream is kept for JSON paths: its end.
const maxJSON = 4 << 20

// tail is the end of a stream.
type tail struct{ text []byte }

func (t *tail) keep(p []byte) {
	t.text = append(t.text, p...)
	if len(t.text) > 2*maxJSON {
		t.text = append(t.text[:0], t.text[len(t.text)-maxJSON:]...)
	}
}

// last finds the last document in the stream that has the value. Documents begin at
// the beginning of a line; other lines may stand around them.
func (t *tail) last(p jsonPath) (string, bool) {
	text := t.text[max(0, len(t.text)-maxJSON):]
	for end := len(text); end > 0; {
		start := bytes.LastIndexByte(text[:end-1], '\n') + 1
		if c := text[start]; c == '{' || c == '[' {
			if found, ok := valueAt(text[start:], p); ok {
				return found, true
			}
		}
		end = start
	}
	return "", false
}

// valueAt is the number, or the text that holds one, to which the path leads in the
// document that text begins with.
func valueAt(text []byte, p jsonPath) (string, bool) {
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	var document any
	if d.Decode(&document) != nil {
		return "", false
	}
	for _, v := range p.query.Select(document) {
		switch x := v.(type) {
		case json.Number:
			return x.String(), true
		case string:
			return x, true
		}
	}
	return "", false
}
