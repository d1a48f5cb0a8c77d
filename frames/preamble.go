package frames

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"strconv"
)

// mostPreamble is how many lines may come before the header.
const mostPreamble = 200

// numberedLine is a line of the file and its number, from 1.
type numberedLine struct {
	number int
	text   []byte
}

// skipPreamble gives the header, or the first row where there is none. What stands before
// a header is left out: lines about the capture, which programs write there. The header
// is the first line with the name of the column, or the line above the first row of the
// same shape that has a number there. Where there is no such line, the first of the widest
// lines is taken for the header, so that the error shows it.
func (f *Reader) skipPreamble() (numberedLine, error) {
	var lines []numberedLine
	widest, most := 0, 0
	for len(lines) < mostPreamble {
		text, err := f.nextLine()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return numberedLine{}, err
		}
		lines = append(lines, numberedLine{f.line, bytes.Clone(text)})
		at := len(lines) - 1
		if at == 0 && f.begins(lines[0].text) {
			return lines[0], nil
		}
		if at > 0 && f.isHeader(lines[at-1].text, lines[at].text) {
			return f.beginAt(lines, at-1), nil
		}
		if n := len(f.fieldsUnder(text, text)); n > most {
			widest, most = at, n
		}
	}
	if len(lines) == 0 {
		return numberedLine{}, io.EOF
	}
	return f.beginAt(lines, widest), nil
}

// beginAt gives one of the lines that were read as the first of the table.
func (f *Reader) beginAt(lines []numberedLine, at int) numberedLine {
	f.preamble, f.ahead, f.line = at, lines[at+1:], lines[at].number
	return lines[at]
}

// begins tells whether the file's first line is its header, or its first row, whatever
// comes next.
func (f *Reader) begins(text []byte) bool {
	fields := f.fieldsUnder(text, text)
	place := f.placeIn(fields)
	return fields == nil || place >= 0 && (isNumber(fields[place]) || !f.isPlace())
}

// isHeader tells whether a line is the header of the one below it.
func (f *Reader) isHeader(text, below []byte) bool {
	fields, row := f.fieldsUnder(text, text), f.fieldsUnder(text, below)
	place := f.placeIn(fields)
	if place < 0 || len(row) != len(fields) {
		return false
	}
	if !f.isPlace() {
		return true
	}
	return !slices.ContainsFunc(fields, isNumber) && (isNumber(row[place]) || unitOf(string(fields[place])) != UnitUnknown)
}

// isPlace tells whether the column is not named, but numbered, or the only one.
func (f *Reader) isPlace() bool {
	_, err := strconv.Atoi(f.opts.Column)
	return f.opts.Column == "" || err == nil
}

// placeIn is the place of the column among fields, -1 where it is not there.
func (f *Reader) placeIn(fields [][]byte) int {
	if f.columnByName(fields) {
		return f.column
	}
	place, err := strconv.Atoi(f.opts.Column)
	switch {
	case f.opts.Column == "" && len(fields) == 1:
		return 0
	case err == nil && place >= 1 && place <= len(fields):
		return place - 1
	}
	return -1
}

// fieldsUnder are the fields of a line by the delimiter of a header, nil where its quotes
// are not in order.
func (f *Reader) fieldsUnder(header, text []byte) [][]byte {
	before := f.opts.Delimiter
	f.opts.Delimiter = f.delimiterOf(header)
	fields, _ := f.split(text)
	f.opts.Delimiter = before
	return fields
}
