package console

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// jsonPath is a singular query of RFC 9535 (2.3.5.1): names and indices that lead
// to one value at most, such as $.summary['fps mean'] or $.scenes[-1].fps.
type jsonPath struct {
	text  string
	steps []any // string or int
}

// isJSONPath tells a query from a regular expression, which has no use for a line's
// end in front.
func isJSONPath(text string) bool { return strings.HasPrefix(text, "$") }

const jsonPathHow = "a JSON path leads to one value, such as $.summary.fps or $['load time'][0]"

func parseJSONPath(text string) (p jsonPath, err error) {
	p.text = text
	rest := strings.TrimPrefix(text, "$")
	for rest = strings.TrimLeft(rest, " "); rest != ""; rest = strings.TrimLeft(rest, " ") {
		var step any
		switch {
		case rest[0] == '.':
			step, rest, err = shorthand(rest[1:])
		case rest[0] == '[':
			step, rest, err = bracketed(strings.TrimLeft(rest[1:], " "))
		default:
			err = errors.New("want . or [")
		}
		if err != nil {
			return p, fmt.Errorf("%q at %q: %w: %s", shorten(text), shorten(rest), err, jsonPathHow)
		}
		p.steps = append(p.steps, step)
	}
	if len(p.steps) == 0 {
		return p, fmt.Errorf("%q names nothing: %s", text, jsonPathHow)
	}
	return p, nil
}

// shorthand takes a name of letters, digits and _ that does not begin with a digit.
func shorthand(text string) (step any, rest string, err error) {
	end := 0
	for end < len(text) {
		c, size := utf8.DecodeRuneInString(text[end:])
		if !(c == '_' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= 0x80 && c != utf8.RuneError || end > 0 && c >= '0' && c <= '9') {
			break
		}
		end += size
	}
	if end == 0 {
		return nil, text, errors.New("want a name of letters, digits and _; others go into ['...']")
	}
	return text[:end], text[end:], nil
}

// bracketed takes a quoted name or an index, and the bracket after it.
func bracketed(text string) (step any, rest string, err error) {
	if text != "" && (text[0] == '\'' || text[0] == '"') {
		if step, rest, err = quotedName(text); err != nil {
			return nil, text, err
		}
	} else {
		end := strings.IndexByte(text, ']')
		if end < 0 {
			return nil, text, errors.New("want ]")
		}
		digits := strings.TrimSpace(text[:end])
		index, err := strconv.Atoi(digits)
		if err != nil || digits != strconv.Itoa(index) { // no +1, no 01, no -0
			return nil, text, errors.New("want a name in quotes or a whole number")
		}
		step, rest = index, text[end:]
	}
	rest, closed := strings.CutPrefix(strings.TrimLeft(rest, " "), "]")
	if !closed {
		return nil, rest, errors.New("want ]")
	}
	return step, rest, nil
}

// quotedName takes a name in either kind of quotes, with the escapes of JSON.
func quotedName(text string) (name, rest string, err error) {
	quote := text[0]
	var inner strings.Builder // as the inside of a JSON string
	for i := 1; i < len(text); i++ {
		switch c := text[i]; {
		case c == quote:
			err := json.Unmarshal([]byte(`"`+inner.String()+`"`), &name)
			return name, text[i+1:], err
		case c == '\\' && i+1 < len(text):
			i++
			if text[i] != '\'' {
				inner.WriteByte('\\')
			}
			inner.WriteByte(text[i])
		case c == '"': // within single quotes
			inner.WriteString(`\"`)
		default:
			inner.WriteByte(c)
		}
	}
	return "", text, errors.New("the quotes are not closed")
}

// in finds the value in a document.
func (p jsonPath) in(v any) (any, bool) {
	for _, step := range p.steps {
		switch s := step.(type) {
		case string:
			object, ok := v.(map[string]any)
			if !ok {
				return nil, false
			}
			if v, ok = object[s]; !ok {
				return nil, false
			}
		case int:
			list, ok := v.([]any)
			if s < 0 {
				s += len(list)
			}
			if !ok || s < 0 || s >= len(list) {
				return nil, false
			}
			v = list[s]
		}
	}
	return v, true
}

// valueText is a number, or a text that holds one, as a result is typed.
func valueText(v any) (string, bool) {
	switch x := v.(type) {
	case json.Number:
		return x.String(), true
	case string:
		return x, true
	}
	return "", false
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
			if found, ok := documentAt(text[start:], p); ok {
				return found, true
			}
		}
		end = start
	}
	return "", false
}

func documentAt(text []byte, p jsonPath) (string, bool) {
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	var v any
	if d.Decode(&v) != nil {
		return "", false
	}
	found, ok := p.in(v)
	if !ok {
		return "", false
	}
	return valueText(found)
}
