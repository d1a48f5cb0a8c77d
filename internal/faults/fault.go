package main

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// An edit replaces the bytes of a file from start up to end.
type edit struct {
	start, end int
	text       string
}

// A change is the edits that make one fault, in order and without overlap.
type change []edit

// A place is where an operator fits, with every way in which it can.
type place struct {
	file     *source
	line     int
	function string
	operator string
	changes  []change
	nth      int // among the places of this operator in the same text of the same function, from 1
}

// before is the text that the place stands in.
func (p *place) before() string { b, _ := p.file.apart(p.changes[0]); return b }

// fault is the place changed in its nth way.
func (p *place) fault(n int) fault {
	c := p.changes[n]
	before, after := p.file.apart(c)
	return fault{
		File: p.file.name, Line: p.line, Function: p.function, Operator: p.operator,
		Before: before, After: after, Nth: p.nth, changed: func() []byte { return p.file.with(c) }, path: p.file.path,
	}
}

// A fault is one change of one place.
type fault struct {
	File     string `json:"file"` // from the module's root, with slashes
	Line     int    `json:"line"` // from 1
	Function string `json:"function,omitempty"`
	Operator string `json:"operator"`
	Before   string `json:"before"` // the lines that change, on one line
	After    string `json:"after"`
	Nth      int    `json:"nth"` // as in place

	changed func() []byte // the whole file with the fault in it
	path    string        // of the file
}

// same tells whether two faults are one, wherever in the file they stand.
func (f fault) same(o fault) bool {
	return f.File == o.File && f.Function == o.Function && f.Operator == o.Operator &&
		f.Before == o.Before && f.After == o.After && f.Nth == o.Nth
}

// with is the file's text after a change.
func (s *source) with(c change) []byte {
	out := slices.Clone(s.text)
	for _, e := range slices.Backward(c) {
		out = slices.Replace(out, e.start, e.end, []byte(e.text)...)
	}
	return out
}

// apart is the lines that a change touches, before and after it.
func (s *source) apart(c change) (before, after string) {
	var b, a []string
	for i := 0; i < len(c); {
		from, to := s.lines(c[i])
		last := i + 1
		for last < len(c) && c[last].start < to {
			_, to = s.lines(c[last])
			last++
		}
		b = append(b, oneLine(s.text[from:to]))
		text := slices.Clone(s.text[from:to])
		for _, e := range slices.Backward(c[i:last]) {
			text = slices.Replace(text, e.start-from, e.end-from, []byte(e.text)...)
		}
		a = append(a, oneLine(text))
		i = last
	}
	return strings.Join(b, " … "), strings.Join(a, " … ")
}

// lines is the extent of the whole lines that an edit touches.
func (s *source) lines(e edit) (from, to int) {
	from = strings.LastIndexByte(string(s.text[:e.start]), '\n') + 1
	if n := strings.IndexByte(string(s.text[e.end:]), '\n'); n >= 0 {
		return from, e.end + n
	}
	return from, len(s.text)
}

// longestText is how many characters of a text are shown and compared.
const longestText = 160

// oneLine writes a text on one line, with its end left out where it is long.
func oneLine(text []byte) string {
	line := strings.Join(strings.Fields(string(text)), " ")
	if line == "" {
		return "(nothing)"
	}
	if utf8.RuneCountInString(line) > longestText {
		line = string([]rune(line)[:longestText]) + "…"
	}
	return line
}
