package frames

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
	"unsafe"
)

// split cuts a line into its fields, without the quotes of those that are quoted
// (RFC 4180). A quoted field ends on its line.
func (f *Reader) split(line []byte) ([][]byte, error) {
	var fields [][]byte
	for {
		field, rest, more, err := f.cut(line)
		if err != nil {
			return nil, err
		}
		fields = append(fields, field)
		if !more {
			return fields, nil
		}
		line = rest
	}
}

// field is the chosen field of a line; the line must have as many as the first.
func (f *Reader) field(line []byte) (chosen []byte, err error) {
	whole := line
	for i := 0; ; i++ {
		field, rest, more, err := f.cut(line)
		if err != nil {
			return nil, err
		}
		if i == f.column {
			chosen = field
		}
		if more {
			line = rest
			continue
		}
		if i+1 != f.columns {
			return nil, &Error{f.opts.File, f.line, "", shorten(string(whole)), fmt.Errorf("the row has %d columns, the first line %d", i+1, f.columns)}
		}
		return chosen, nil
	}
}

// cut takes the first field off a line. more tells whether a delimiter follows it.
func (f *Reader) cut(line []byte) (field, rest []byte, more bool, err error) {
	if start := bytes.TrimLeft(line, " "); len(start) > 0 && start[0] == '"' {
		return f.cutQuoted(start)
	}
	i := bytes.IndexByte(line, f.opts.Delimiter)
	if i < 0 {
		return line, nil, false, nil
	}
	return line[:i], line[i+1:], true, nil
}

func (f *Reader) cutQuoted(line []byte) (field, rest []byte, more bool, err error) {
	for i := 1; i < len(line); i++ {
		if line[i] != '"' {
			continue
		}
		if i+1 < len(line) && line[i+1] == '"' {
			i++
			continue
		}
		field = bytes.ReplaceAll(line[1:i], []byte(`""`), []byte(`"`))
		rest = bytes.TrimLeft(line[i+1:], " ")
		if len(rest) == 0 {
			return field, nil, false, nil
		}
		if rest[0] == f.opts.Delimiter {
			return field, rest[1:], true, nil
		}
		break
	}
	return nil, nil, false, &Error{f.opts.File, f.line, "", shorten(string(line)), errors.New("a quoted field does not end before the next delimiter")}
}

// number reads a finite decimal number with a decimal point or comma.
func number(text []byte) (float64, error) {
	text = bytes.TrimSpace(text)
	comma := bytes.IndexByte(text, ',')
	if comma >= 0 {
		if bytes.IndexByte(text[comma+1:], ',') >= 0 || bytes.IndexByte(text, '.') >= 0 {
			return 0, errors.New("is not a number: write it without separators of thousands")
		}
		text = bytes.Clone(text)
		text[comma] = '.'
	}
	for _, c := range text { // no hexadecimal, no Inf, no underscores
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, errors.New("is not a number")
		}
	}
	if len(text) == 0 {
		return 0, errors.New("is empty: every row needs a number")
	}
	v, err := strconv.ParseFloat(unsafe.String(&text[0], len(text)), 64) // it keeps nothing of the text but in its error
	if err != nil || math.IsInf(v, 0) {
		return 0, errors.New("is not a number")
	}
	return v, nil
}
