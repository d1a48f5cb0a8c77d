package bounded

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
)

// Bounds of a table: a hundred times what tables of runs have.
const (
	mostColumns = 1000
	longestRow  = 1 << 20 // bytes
)

// NewTable reads a table of comma-separated values (RFC 4180). A byte order mark is
// left out. choose, which may be nil, is shown the beginning and tells the separator.
// A row of more than 1000 columns or 1 MiB is an error, before it takes memory.
func NewTable(r io.Reader, choose func(head []byte) rune) *csv.Reader {
	buffered := bufio.NewReaderSize(r, 1<<16)
	if mark, err := buffered.Peek(3); err == nil && string(mark) == "\ufeff" {
		_, _ = buffered.Discard(3)
	}
	comma := ','
	if choose != nil {
		head, _ := buffered.Peek(1 << 12)
		comma = choose(head)
	}
	rows := LimitRows(buffered, math.MaxInt)
	rows.comma = byte(comma)
	in := csv.NewReader(rows)
	in.Comma = comma
	return in
}

// Rows reads a table as it is, and fails at a row that is too long or one too many.
type Rows struct {
	from    io.Reader
	most    int
	comma   byte // 0: columns are not counted
	quoted  bool // within quotes: a line that ends there does not end the row
	line    int  // from 1
	start   int  // line on which the row begins
	rows    int  // that ended
	columns int  // of the row so far
	bytes   int  // of the row so far
}

// LimitRows is r as long as it has at most so many rows, of 1 MiB at most.
func LimitRows(r io.Reader, most int) *Rows {
	return &Rows{from: r, most: most, line: 1, start: 1, columns: 1}
}

// Count is how many rows have been read.
func (b *Rows) Count() int { return b.rows }

// Read reads on.
func (b *Rows) Read(p []byte) (int, error) {
	n, err := b.from.Read(p)
	for i, c := range p[:n] {
		if b.bytes++; b.bytes > longestRow {
			return i, fmt.Errorf("the row that begins on line %d has more than %d bytes: is a quote missing, or is this no table?", b.start, longestRow)
		}
		switch {
		case c == '"':
			b.quoted = !b.quoted // a doubled one does so twice
		case c == '\n':
			b.line++
			if !b.quoted {
				b.start, b.columns, b.bytes = b.line, 1, 0
				b.rows++
			}
		case c == b.comma && b.comma != 0 && !b.quoted:
			b.columns++
		}
		if b.rows > b.most {
			return i, fmt.Errorf("line %d: there are more than %d rows, the most that are taken at once: split the table", b.line, b.most)
		}
		if b.columns > mostColumns {
			return i, fmt.Errorf("line %d has more than %d columns, the most that a table may have", b.start, mostColumns)
		}
	}
	return n, err
}

// TableError is an error of the reader of a table with what to do about it.
func TableError(err error) error {
	switch {
	case errors.Is(err, csv.ErrBareQuote), errors.Is(err, csv.ErrQuote):
		return fmt.Errorf("%w: a quote (\") is missing there or one too many, or the file is no table", err)
	case errors.Is(err, csv.ErrFieldCount):
		return fmt.Errorf("%w: it has more cells or fewer than the heading", err)
	}
	return err
}
