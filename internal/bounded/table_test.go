package bounded

import (
	"io"
	"math"
	"strings"
	"testing"
	"testing/iotest"
)

// Tables at their bounds are read, and the first column, byte or row too many is named
// by its line.
func TestTableBounds(t *testing.T) {
	wide := func(n int) string { return strings.Repeat(",", n-1) + "\n" }
	for name, c := range map[string]struct {
		text, err string
		rows      int
	}{
		"as wide as may be":          {"a\n" + wide(1000), "wrong number of fields", 1},
		"too wide":                   {wide(1001), "line 1 has more than 1000 columns", 0},
		"too wide later":             {"\"a\nb\"\n" + wide(1001), "line 3 has more than 1000 columns", 1},
		"delimiters in quotes":       {"a\n\"" + strings.Repeat(",", 5000) + "\"\n", "", 2},
		"doubled quotes":             {"a\n\"\"\"" + strings.Repeat(",", 5000) + "\"\"\"\n", "", 2},
		"as long as may be":          {"a\n" + strings.Repeat("x", longestRow-1) + "\n", "", 2},
		"too long":                   {"a\n" + strings.Repeat("x", longestRow) + "\n", "begins on line 2 has more than 1048576 bytes", 1},
		"a quote that does not end":  {"a\n\"" + strings.Repeat("x\n", longestRow/2), "begins on line 2 has more than 1048576 bytes", 1},
		"a line without end":         {strings.Repeat("\x00", 2*longestRow), "begins on line 1", 0},
		"a byte order mark":          {"\ufeffa\n1\n", "", 2},
		"no line's end after a row":  {"a\n1", "", 2},
		"nothing":                    {"", "", 0},
		"a byte order mark, no more": {"\ufeff", "", 0},
	} {
		in := NewTable(iotest.HalfReader(strings.NewReader(c.text)), nil)
		rows := 0
		var err error
		for {
			var row []string
			if row, err = in.Read(); err != nil {
				break
			}
			if rows++; rows == 1 && len(row[0]) > 3 {
				t.Errorf("%s: the first cell is %q", name, row[0])
			}
		}
		if err == io.EOF {
			err = nil
		}
		if rows != c.rows || (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%s: %d rows, error %v; want %d, %q", name, rows, err, c.rows, c.err)
		}
	}
	if _, err := io.Copy(io.Discard, LimitRows(strings.NewReader("a\n1\n2\n"), 3)); err != nil {
		t.Errorf("three rows: %v", err)
	}
	rows := LimitRows(strings.NewReader("a\n\"1\n\n\"\n2\n3\n"), 3)
	if _, err := io.Copy(io.Discard, rows); err == nil || !strings.Contains(err.Error(), "line 7: there are more than 3 rows") {
		t.Errorf("four rows: %v", err)
	}
	same := LimitRows(strings.NewReader("x,\"y\nz\""), math.MaxInt)
	if text, err := io.ReadAll(same); err != nil || string(text) != "x,\"y\nz\"" || same.Count() != 0 {
		t.Errorf("%q, %v, %d rows", text, err, same.Count())
	}
}
