package frames

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"unicode/utf16"
)

// utf16Text is a text in UTF-16 with a byte order mark.
func utf16Text(s string, bigEndian bool) string {
	var out []byte
	for _, u := range utf16.Encode([]rune("\ufeff" + s)) {
		if bigEndian {
			out = append(out, byte(u>>8), byte(u))
		} else {
			out = append(out, byte(u), byte(u>>8))
		}
	}
	return string(out)
}

func readAll(text string, o Options) ([]float64, error) {
	o.File = "frames.csv"
	f, err := NewReader(strings.NewReader(text), o)
	if err != nil {
		return nil, err
	}
	var list []float64
	for {
		s, err := f.Next()
		if err == io.EOF { // itself, as of an io.Reader
			return list, nil
		}
		if err != nil {
			return list, err
		}
		list = append(list, s)
	}
}

// The same three frames of 16.5, 17.25 and 33 ms, written in many ways.
func TestWaysToWriteFrames(t *testing.T) {
	const plain = "n,frame_ms\n1,16.5\n2,17.25\n3,33\n"
	for name, c := range map[string]struct {
		text string
		o    Options
	}{
		"comma":                    {plain, Options{Column: "frame_ms"}},
		"by number":                {plain, Options{Column: "2"}},
		"other case":               {plain, Options{Column: " Frame_MS "}},
		"semicolon, decimal comma": {"n;frame_ms\n1;16,5\n2;17,25\n3;33\n", Options{Column: "frame_ms"}},
		"tab":                      {"n\tframe_ms\n1\t16.5\n2\t17,25\n3\t33", Options{Column: "frame_ms"}},
		"quoted decimal comma":     {"\"n\",\"frame_ms\"\n\"1\",\"16,5\"\n2, \"17,25\" \n3,33\n", Options{Column: "frame_ms"}},
		"quotes and commas":        {"\"a,\"\"b\"\"\",frame_ms\n\"x,y\",16.5\n\"\",17.25\nz,33\n", Options{Column: "frame_ms"}},
		"no header":                {"1,16.5\n2,17.25\n3,33\n", Options{Column: "2", Unit: Milliseconds}},
		"one column":               {"frame_ms\n16.5\n17.25\n33\n", Options{}},
		"one, decimal comma":       {"frame_ms\n16,5\n17,25\n33\n", Options{}},
		"one, none, comma":         {"16,5\n17,25\n33\n", Options{Unit: Milliseconds, Delimiter: NoDelimiter}},
		"one, no header":           {"16.5\n17.25\n33\n", Options{Unit: Milliseconds}},
		"microseconds":             {"frame time (µs)\n16500\n17250\n33e3\n", Options{}},
		"seconds":                  {"n,seconds\n1,0.0165\n2,.01725\n3,+0.033\n", Options{Column: "seconds"}},
		"unit said":                {"n,t\n1,0.0165\n2,.01725\n3,+0.033\n", Options{Column: "t", Unit: Seconds}},
		"timestamps":               {"at_ms\n100\n116.5\n133.75\n166.75\n", Options{Timestamps: true}},
		"timestamps, s":            {"1;0\n1;0,0165\n1;0,03375\n1;0,06675\n", Options{Timestamps: true, Column: "2", Unit: Seconds}},
		"Windows":                  {"n,frame_ms\r\n1,16.5\r\n2,17.25\r\n3,33\r\n", Options{Column: "frame_ms"}},
		"remarks, empty lines":     {"# made by hand\n\nn,frame_ms\n1,16.5\n\n2,17.25\n# end\n3,33\n\n", Options{Column: "frame_ms"}},
		"UTF-8 mark":               {"\ufeff" + plain, Options{Column: "frame_ms"}},
		"UTF-8 mark, one column":   {"\ufeffframe_ms\n16.5\n17.25\n33\n", Options{Column: "frame_ms"}},
		"UTF-8 mark, no header":    {"\ufeff16.5\n17.25\n33\n", Options{Unit: Milliseconds}},
		"UTF-16 little":            {utf16Text(plain, false), Options{Column: "frame_ms"}},
		"UTF-16 big":               {utf16Text("n;frame_µs\n1;16500\n2;17250\n3;33000", true), Options{Column: "frame_µs"}},
		"header with a number":     {"2,frame_ms\n1,16.5\n2,17.25\n3,33\n", Options{Column: "frame_ms"}},
		"long lines":               {"# " + strings.Repeat("remark ", 30_000) + "\nn,frame_ms\n\"" + strings.Repeat("x", 200_000) + "\",16.5\n2,17.25\n3,33\n", Options{Column: "frame_ms"}},
		"text beside":              {"scene a,16.5\nscene b,17.25\n,33\n", Options{Column: "2", Unit: Milliseconds}},
	} {
		list, err := readAll(c.text, c.o)
		if err != nil || len(list) != 3 || !near(list[0], 0.0165, 1e-12) || !near(list[1], 0.01725, 1e-12) || !near(list[2], 0.033, 1e-12) {
			t.Errorf("%s: %v, %v", name, list, err)
		}
	}
}

func TestFilesThatCannotBeRead(t *testing.T) {
	for text, c := range map[string]struct {
		o    Options
		want string
	}{
		"":                                    {Options{}, "frames.csv: it holds no frame times"},
		"\xff\xfe":                            {Options{}, "holds no frame times"},
		"# nothing\n":                         {Options{}, "holds no frame times"},
		"a,b\n1,2\n":                          {Options{}, "has 2 columns: name the one with the frame times: a, b"},
		"1,2\n":                               {Options{Unit: Seconds, Column: "3"}, "numbered 1 to 2"},
		"a,b_ms\n1,2\n":                       {Options{Column: "c"}, `no column "c": its columns are a, b_ms`},
		"a\n1\n":                              {Options{}, "column a does not say its unit"},
		"frames\n1\n":                         {Options{}, "does not say its unit"},
		"n,t_ms\n1,16.5\n2,fast\n":            {Options{Column: "t_ms"}, `frames.csv: line 3, column t_ms: "fast": is not a number`},
		"n,t_ms\n1,16.5\n2,\n":                {Options{Column: "t_ms"}, `line 3, column t_ms: "": is empty`},
		"n,t_ms\n1,16.5\n2,NaN\n":             {Options{Column: "t_ms"}, `"NaN": is not a number`},
		"n,t_ms\n1,16.5\n2,Inf\n":             {Options{Column: "t_ms"}, "is not a number"},
		"n,t_ms\n1,16.5\n2,1e999\n":           {Options{Column: "t_ms"}, "is not a number"},
		"n,t_ms\n1,16.5\n2,0x10\n":            {Options{Column: "t_ms"}, "is not a number"},
		"n,t_ms\n1,16.5\n2,-1\n":              {Options{Column: "t_ms"}, "a frame time is not negative"},
		"n;t_ms\n1;1.234,5\n":                 {Options{Column: "t_ms"}, `"1.234,5": is not a number: write it without separators of thousands`},
		"n,t_ms\n1,16,5\n":                    {Options{Column: "t_ms"}, `line 2: "1,16,5": the row has 3 columns, the first line 2`},
		"n,t_ms\n1\n":                         {Options{Column: "t_ms"}, "the row has 1 columns"},
		"16,5\n16,6\n":                        {Options{Column: "1", Unit: Milliseconds}, "one number with a decimal comma, or two columns?"},
		"at_ms\n5\n4\n":                       {Options{Timestamps: true}, `line 3, column at_ms: "4": it is before the timestamp above it, 5`},
		"\"n,t_ms\n1,16.5\n":                  {Options{Column: "t_ms"}, "line 1: \"\\\"n,t_ms\": a quoted field does not end"},
		"n,t_ms\n\"1,16.5\n":                  {Options{Column: "t_ms"}, "a quoted field does not end"},
		"t_ms\n" + strings.Repeat("9", 2<<20): {Options{}, "longer than 1048576 bytes"},
	} {
		_, err := readAll(text, c.o)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "frames.csv") || len(err.Error()) > 400 {
			t.Errorf("%.40q: got %v, want %q", text, err, c.want)
		}
	}
	// A cell with a whole page in it makes no page of an error.
	for length, shown := range map[int]string{60: `"` + strings.Repeat("x", 60) + `":`, 500: `"` + strings.Repeat("x", 60) + `...":`} {
		if _, err := readAll("t_ms\n"+strings.Repeat("x", length)+"\n", Options{}); err == nil || !strings.Contains(err.Error(), shown) {
			t.Errorf("a cell of %d characters: %v", length, err)
		}
	}
	// Columns are counted from 1, and up to the last.
	for _, column := range []string{"-1", "0", "3"} {
		if _, err := readAll("a,b_ms\n1,2\n", Options{Column: column}); err == nil || !strings.Contains(err.Error(), "no column \""+column+"\"") {
			t.Errorf("column %s: %v", column, err)
		}
	}
	if list, err := readAll("b_ms,a\n1,2\n", Options{Column: "1"}); err != nil || len(list) != 1 || list[0] != 0.001 {
		t.Errorf("column 1: %v, %v", list, err)
	}
	// A wrong unit is noticed where it cannot be: no frame takes days, but a pause
	// of hours is one long frame.
	if _, err := readAll("t_s\n1e6\n", Options{}); err == nil || !strings.Contains(err.Error(), "is the unit (s) right?") {
		t.Errorf("%v", err)
	}
	if list, err := readAll("t_s\n7200\n", Options{}); err != nil || len(list) != 1 || list[0] != 7200 {
		t.Errorf("a frame of two hours: %v, %v", list, err)
	}
	// The user's word for the delimiter settles the doubtful one.
	if list, err := readAll("16,5\n16,6\n", Options{Column: "1", Unit: Milliseconds, Delimiter: ','}); err != nil || len(list) != 2 || list[0] != 0.016 {
		t.Errorf("%v, %v", list, err)
	}
	if list, err := readAll("t_ms\n9\n7", Options{}); err != nil || len(list) != 2 || list[1] != 0.007 {
		t.Errorf("a last line of one figure without an end: %v, %v", list, err)
	}
	s, err := summarise(strings.NewReader("t_ms\n"), Options{File: "f.csv"}, 1, nil)
	if !errors.Is(err, ErrNoFrames) || err.Error() != "f.csv: column t_ms holds no frame times" {
		t.Errorf("a header alone: %+v, %v", s, err)
	}
}

// A disk that fails is told with the place, wherever in the file it fails.
func TestReadingFails(t *testing.T) {
	failed := errors.New("input/output error")
	for _, text := range []string{"", "n,t_ms\n", "n,t_ms\n1,16.5\n", "n,t_ms\n1,16.5\n2,1", "n,t_ms\n1,16.5\n2," + strings.Repeat("1", 100_000)} {
		_, err := summarise(io.MultiReader(strings.NewReader(text), iotest.ErrReader(failed)), Options{File: "f.csv", Column: "t_ms"}, 1, nil)
		want := fmt.Sprintf("f.csv: line %d: ", 1+strings.Count(text, "\n"))
		if !errors.Is(err, failed) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("after %.20q: %v, want it to begin with %q", text, err, want)
		}
	}
}

// Who waits for a long file is told how far it is: often enough to see that
// something happens, rarely enough not to slow it down.
func TestProgress(t *testing.T) {
	var told []int64
	const rows = 300_000
	if _, err := summarise(io.MultiReader(strings.NewReader("n,t_ms\n"), &endless{left: rows}), Options{File: "f", Column: "t_ms"}, 1, func(n int64) {
		told = append(told, n)
	}); err != nil {
		t.Fatal(err)
	}
	if len(told) < 3 || len(told) > 30 || !slices.IsSorted(told) || told[0] > 100_000 || told[len(told)-1] > rows || told[len(told)-1] < rows-100_000 {
		t.Errorf("told after %v of %d frames", told, rows)
	}
}

// endless writes rows of frame times until there are enough.
type endless struct {
	left int
	row  []byte
	rest []byte
}

func (e *endless) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		if len(e.rest) == 0 {
			if e.left == 0 {
				if n > 0 {
					return n, nil
				}
				return 0, io.EOF
			}
			e.left--
			e.row = strconv.AppendInt(e.row[:0], int64(e.left), 10)
			e.row = append(e.row, ',')
			e.row = strconv.AppendFloat(e.row, 10+float64(e.left%1000)/64, 'f', 6, 64)
			e.row = append(e.row, '\n')
			e.rest = e.row
		}
		k := copy(p[n:], e.rest)
		n, e.rest = n+k, e.rest[k:]
	}
	return n, nil
}

// Ten million rows are read in bounded memory: the list of Exact times, less than
// 40 MB with what its growing leaves behind.
func TestMillionsOfRows(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	rows := 2_000_000
	var before, most runtime.MemStats
	runtime.ReadMemStats(&before)
	told := int64(0)
	s, err := summarise(io.MultiReader(strings.NewReader("n,t_ms\n"), &endless{left: rows}), Options{File: "f", Column: "t_ms"}, 0.0333, func(n int64) {
		told = n
		if n%(1<<19) == 0 {
			var now runtime.MemStats
			runtime.ReadMemStats(&now)
			most.HeapSys = max(most.HeapSys, now.HeapSys-min(before.HeapSys, now.HeapSys))
		}
	})
	if err != nil || s.Frames != int64(rows) || !s.Rounded || told < int64(rows)-progressEvery {
		t.Fatalf("%+v, %v, told %d", s, err, told)
	}
	// Times run evenly through 10 + k/64 ms, k = 0..999, so the mean is
	// 10 + 999/128 ms.
	if want := 1000 / (10 + 999.0/128); !near(s.MeanFPS, want, 1e-6) {
		t.Errorf("mean %v, want %v", s.MeanFPS, want)
	}
	if most.HeapSys > 64<<20 {
		t.Errorf("%d MB of heap", most.HeapSys>>20)
	}
}

func BenchmarkSummary(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		rows := 1_000_000
		if _, err := summarise(io.MultiReader(strings.NewReader("n,t_ms\n"), &endless{left: rows}), Options{File: "f", Column: "t_ms"}, 0.0333, nil); err != nil {
			b.Fatal(err)
		}
	}
}

// Whatever the bytes: no panic, finite times that are not negative, and the same
// frames when written again plainly.
func FuzzRead(f *testing.F) {
	f.Add("n,frame_ms\n1,16.5\n2,17.25\n", "frame_ms", "", false)
	f.Add("n;t\n1;16,5\n2;\"17,25\"\n", "2", "ms", true)
	f.Add(utf16Text("t_us\n1\n2\n", true), "", "", true)
	f.Add("\ufeff# x\n\n\"a\"\"b\"\t4", "1", "s", false)
	f.Fuzz(func(t *testing.T, text, column, unit string, timestamps bool) {
		o := Options{Column: column, Timestamps: timestamps}
		if u, err := ParseUnit(unit); err == nil {
			o.Unit = u
		}
		list, err := readAll(text, o)
		if err != nil && !strings.Contains(err.Error(), "frames.csv") {
			t.Fatalf("no file in %v", err)
		}
		var again bytes.Buffer
		again.WriteString("t_s\n")
		for _, s := range list {
			if math.IsNaN(s) || s < 0 {
				t.Fatalf("a frame of %v s", s)
			}
			fmt.Fprintf(&again, "%.17g\n", s)
		}
		if back, err := readAll(again.String(), Options{}); err != nil && len(list) > 0 || len(back) != len(list) {
			t.Fatalf("%d of %d frames come back, %v", len(back), len(list), err)
		}
	})
}

// summarise reads a whole file.
func summarise(r io.Reader, o Options, slowAt float64, progress func(frames int64)) (Summary, error) {
	f, err := NewReader(r, o)
	if err != nil {
		return Summary{}, err
	}
	return f.Summary(slowAt, progress)
}

// As many frames are read as may be, and one more is an error with its line.
func TestMostFrames(t *testing.T) {
	for text, want := range map[string]string{"frame_ms\n1\n2\n3\n": "", "frame_ms\n1\n2\n3\n4\n": "f.csv: line 5: more than 3 frames"} {
		f, err := NewReader(strings.NewReader(text), Options{File: "f.csv"})
		if err != nil {
			t.Fatal(err)
		}
		f.most = 3
		if _, err := f.Times(1, nil); (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want %q", text, err, want)
		}
	}
}
