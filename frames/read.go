package frames

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// Options say how to read a file of frame times. The zero value reads the only
// column of a file whose header names the unit.
type Options struct {
	File string // its name, for errors
	// Column is the name of the column in the header, or its number from 1;
	// empty where there is only one.
	Column string
	// Unit of the numbers; UnitUnknown means the one at the end of the column's
	// name, as in frame_ms and "time (s)". With Rate they are frames per second.
	Unit Unit
	// Timestamps means that the numbers are times at which frames came, of which
	// the differences are the frame times.
	Timestamps bool
	// Delimiter is a comma, semicolon or tab; 0 means what the first line has.
	// NoDelimiter means that there is only one column.
	Delimiter byte
}

// NoDelimiter is for files of one column.
const NoDelimiter = '\n'

// Error says which row cannot be read.
type Error struct {
	File   string
	Line   int    // from 1
	Column string // its name or number
	Text   string
	Err    error
}

func (e *Error) Error() string {
	where := fmt.Sprintf("%s: line %d", e.File, e.Line)
	if e.Column != "" {
		where += ", column " + e.Column
	}
	return fmt.Sprintf("%s: %q: %v", where, e.Text, e.Err)
}

func (e *Error) Unwrap() error { return e.Err }

// longestLine bounds the memory for a line.
const longestLine = 1 << 20

// Reader reads frame times row by row, in bounded memory.
type Reader struct {
	opts     Options
	lines    *bufio.Reader
	long     []byte         // a line that crosses the end of the buffer
	line     int            // number of the line that is looked at, from 1
	lineRead int            // number of the line read last
	guessed  bool           // no delimiter was given
	column   int            // from 0
	columns  int            // how many every row has
	name     string         // of the column, or its number
	scale    float64        // s for each unit
	ahead    []numberedLine // read already, in order
	preamble int            // lines left out before the header
	last     float64        // the timestamp read last
	started  bool           // there is one
	most     int64          // frames
}

// NewReader reads as far as the first row. It fails where the column, the unit or the
// delimiter remains unknown.
func NewReader(r io.Reader, o Options) (*Reader, error) {
	// A byte order mark tells UTF-16 from UTF-8 and is no part of the text.
	text := transform.NewReader(r, unicode.BOMOverride(transform.Nop))
	f := &Reader{opts: o, most: Most, lines: bufio.NewReaderSize(text, 1<<16)}
	f.guessed = f.opts.Delimiter == 0
	first, err := f.skipPreamble()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s: it holds %w", o.File, ErrNoFrames)
	}
	if err != nil {
		return nil, err
	}
	f.opts.Delimiter = f.delimiterOf(first.text)
	if err := f.chooseColumn(first); err != nil {
		return nil, err
	}
	f.scale = f.opts.Unit.Seconds()
	return f, nil
}

// Unit is the unit of the numbers.
func (f *Reader) Unit() Unit { return f.opts.Unit }

// Preamble is how many lines before the header were left out, besides empty ones and
// comments.
func (f *Reader) Preamble() int { return f.preamble }

// delimiterOf is the delimiter that was given, or a tab where the line has one, else a
// semicolon, else a comma.
func (f *Reader) delimiterOf(line []byte) byte {
	if !f.guessed {
		return f.opts.Delimiter
	}
	for _, c := range []byte("\t;,") {
		if bytes.IndexByte(line, c) >= 0 {
			return c
		}
	}
	return NoDelimiter
}

// chooseColumn finds the column in the first line, which is a header if it has no number
// or has the column's name, and else the first row.
func (f *Reader) chooseColumn(line numberedLine) error {
	fields, err := f.split(line.text)
	if err != nil {
		return err
	}
	f.columns = len(fields)
	named := f.columnByName(fields)
	header := named || !slices.ContainsFunc(fields, isNumber)
	place, err := strconv.Atoi(f.opts.Column)
	switch {
	case named || f.opts.Column == "" && len(fields) == 1:
	case f.opts.Column == "":
		columns := fmt.Sprintf("numbered 1 to %d", len(fields))
		if header {
			columns = strings.Join(shortened(columnNames(fields)), ", ")
		}
		return fmt.Errorf("%s has %d columns: name the one with the frame times: %s", f.opts.File, len(fields), columns)
	case err == nil && place >= 1 && place <= len(fields):
		f.column = place - 1
	default:
		return &ColumnError{File: f.opts.File, Column: f.opts.Column, Columns: columnNames(fields), numbered: !header}
	}
	f.name = strconv.Itoa(f.column + 1)
	if header {
		f.name = shorten(string(bytes.TrimSpace(fields[f.column])))
	} else {
		if f.guessed && f.opts.Delimiter == ',' && len(fields) == 2 && isWhole(fields[0]) && isWhole(fields[1]) {
			return &Error{f.opts.File, line.number, "", shorten(string(line.text)),
				errors.New("is this one number with a decimal comma, or two columns? Say the delimiter: none, or comma")}
		}
		f.ahead = append([]numberedLine{line}, f.ahead...)
	}
	if f.opts.Unit == UnitUnknown {
		f.opts.Unit = unitOf(f.name)
	}
	switch {
	case f.opts.Unit == UnitUnknown:
		return fmt.Errorf("%s: column %s does not say its unit at the end of its name: say whether it is in ms, us or s, or rates in fps", f.opts.File, f.name)
	case f.opts.Unit == Rate && f.opts.Timestamps:
		return fmt.Errorf("%s: column %s is in fps: rates are no timestamps", f.opts.File, f.name)
	}
	return nil
}

func isNumber(text []byte) bool {
	_, err := number(text)
	return err == nil
}

// isWhole tells whether a text has digits only, as the text on either side of a decimal
// comma has.
func isWhole(text []byte) bool {
	return len(text) > 0 && !bytes.ContainsFunc(text, func(r rune) bool { return r < '0' || r > '9' })
}

func (f *Reader) columnByName(fields [][]byte) bool {
	for i, text := range fields {
		if !isNumber(text) && strings.EqualFold(string(bytes.TrimSpace(text)), strings.TrimSpace(f.opts.Column)) {
			f.column = i
			return true
		}
	}
	return false
}

// ColumnError says that a file has no such column.
type ColumnError struct {
	File, Column string
	Columns      []string // those that it has
	numbered     bool     // they have no names
}

func (e *ColumnError) Error() string {
	columns := strings.Join(shortened(e.Columns), ", ")
	if e.numbered {
		columns = fmt.Sprintf("numbered 1 to %d", len(e.Columns))
	}
	return fmt.Sprintf("%s has no column %q: its columns are %s", e.File, shorten(e.Column), columns)
}

func columnNames(fields [][]byte) []string {
	list := make([]string, len(fields))
	for i := range list {
		list[i] = shorten(string(bytes.TrimSpace(fields[i])))
	}
	return list
}

// shortened is as much of a list as a person reads.
func shortened(list []string) []string {
	const most = 20
	if len(list) <= most {
		return list
	}
	return append(slices.Clone(list[:most]), "...")
}

// Next is the next frame time, s; io.EOF after the last.
func (f *Reader) Next() (float64, error) {
	for {
		line, err := f.nextRow()
		if err != nil {
			return 0, err
		}
		text, err := f.field(line)
		if err != nil {
			return 0, err
		}
		v, err := number(text)
		if err != nil {
			return 0, f.rowError(text, err)
		}
		if f.opts.Unit == Rate {
			if v <= 0 {
				return 0, f.rowError(text, errors.New("a rate is above 0"))
			}
			return f.plausible(1/v, text)
		}
		if !f.opts.Timestamps {
			if v < 0 {
				return 0, f.rowError(text, errors.New("a frame time is not negative"))
			}
			return f.plausible(v*f.scale, text)
		}
		before, started := f.last, f.started
		f.last, f.started = v, true
		if !started {
			continue
		}
		if v < before {
			return 0, f.rowError(text, fmt.Errorf("it is before the timestamp above it, %v", before))
		}
		return f.plausible((v-before)*f.scale, text)
	}
}

// longestFrame is far above any frame's time, s; beyond it the unit is wrong.
const longestFrame = 24 * 3600

func (f *Reader) plausible(seconds float64, text []byte) (float64, error) {
	if seconds > longestFrame {
		return 0, f.rowError(text, fmt.Errorf("a frame time of %.3g s: is the unit (%s) right?", seconds, f.opts.Unit))
	}
	return seconds, nil
}

func (f *Reader) rowError(text []byte, err error) error {
	return &Error{f.opts.File, f.line, f.name, shorten(string(text)), err}
}

func shorten(s string) string {
	if len(s) > 60 {
		return strings.ToValidUTF8(s[:60], "") + "..."
	}
	return s
}

// nextRow is the next line of those that were read ahead, and then of the file.
func (f *Reader) nextRow() ([]byte, error) {
	if len(f.ahead) == 0 {
		return f.nextLine()
	}
	next := f.ahead[0]
	f.ahead = f.ahead[1:]
	f.line = next.number
	return next.text, nil
}

// nextLine is the next line that is neither empty nor a comment (#). It is valid
// until the next call.
func (f *Reader) nextLine() ([]byte, error) {
	for {
		line, err := f.rawLine()
		if err != nil {
			return nil, err
		}
		if trimmed := bytes.TrimSpace(line); len(trimmed) > 0 && trimmed[0] != '#' {
			f.line = f.lineRead
			return line, nil
		}
	}
}

func (f *Reader) rawLine() ([]byte, error) {
	f.lineRead++
	line, err := f.lines.ReadSlice('\n')
	if errors.Is(err, bufio.ErrBufferFull) {
		f.long = append(f.long[:0], line...)
		for errors.Is(err, bufio.ErrBufferFull) && len(f.long) <= longestLine {
			line, err = f.lines.ReadSlice('\n')
			f.long = append(f.long, line...)
		}
		line = f.long
		if len(line) > longestLine {
			return nil, &Error{f.opts.File, f.lineRead, "", shorten(string(line)), fmt.Errorf("the line is longer than %d bytes: this is no table of frame times", longestLine)}
		}
	}
	if errors.Is(err, io.EOF) && len(line) > 0 {
		err = nil // a last line without an end
	}
	if err != nil {
		if errors.Is(err, io.EOF) {
			return nil, io.EOF
		}
		return nil, fmt.Errorf("%s: line %d: %w", f.opts.File, f.lineRead, err)
	}
	return bytes.TrimRight(line, "\r\n"), nil
}

// progressEvery is how many frames are read between two calls of progress.
const progressEvery = 1 << 16

// Most is how many frames a file may have: more than a day of 1000 a second.
const Most = 100_000_000

// Times reads the rest of the file and counts the frames that took longer than
// slowAt, s. progress, which may be nil, is called every so often with the number of
// frames so far.
func (f *Reader) Times(slowAt float64, progress func(frames int64)) (*Times, error) {
	t := NewTimes(slowAt)
	for {
		s, err := f.Next()
		if errors.Is(err, io.EOF) {
			return t, nil
		}
		if err != nil {
			return nil, err
		}
		if t.Add(s); t.n > f.most {
			return nil, fmt.Errorf("%s: line %d: more than %d frames, the most that are read of a file", f.opts.File, f.line, f.most)
		}
		if progress != nil && t.n%progressEvery == 0 {
			progress(t.n)
		}
	}
}

// Summary reads the rest of the file, as Times does, and sums it up.
func (f *Reader) Summary(slowAt float64, progress func(frames int64)) (Summary, error) {
	t, err := f.Times(slowAt, progress)
	if err != nil {
		return Summary{}, err
	}
	s, err := t.Summary()
	if err != nil {
		err = fmt.Errorf("%s: column %s holds %w", f.opts.File, f.name, err)
	}
	return s, err
}
