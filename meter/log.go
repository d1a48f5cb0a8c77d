package meter

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strings"
	"time"

	"sweepd/internal/bounded"
	"sweepd/run"
)

// Log is what a meter logged, in the order of time.
type Log struct {
	// Start is when the first value was taken, by the meter's clock; zero where the log
	// tells times since an unknown moment.
	Start time.Time
	At    []float64 // s: since Start, or as the log tells them
	Watts []float64 // finite
	// TimeUnit tells whether the log says in which unit its times are, or when they were.
	TimeUnit bool
	Left     int    // rows without a value, which were left out
	From     string // the columns that it was read from
}

// InUnit is a log that tells no unit of its times, with times in one of so many seconds.
func (l *Log) InUnit(seconds float64) *Log {
	in := *l
	in.At = make([]float64, len(l.At))
	for i, t := range l.At {
		in.At[i] = t * seconds
	}
	return &in
}

// Options say how to read a log. Empty columns are found by their names.
type Options struct {
	File  string         // its name in errors
	Time  string         // column of the times
	Watts string         // column of the power
	Zone  *time.Location // of times without one; nil: UTC
	// Day is a moment near the log's, for times of day without a date.
	Day time.Time
}

// mostValues is more than three days of 100 values a second.
const mostValues = 30_000_000

// Read reads a log: delimited text (commas, semicolons with decimal commas, tabs), a line
// that names the columns, perhaps after others that do not, and a row for each value. It
// fails at the first row that makes no sense, and names it.
func Read(r io.Reader, o Options) (*Log, error) {
	in := bounded.NewTable(r, separator)
	in.FieldsPerRecord = -1
	in.LazyQuotes = true
	in.ReuseRecord = true
	t := &table{Options: o, in: in}
	if err := t.header(); err != nil {
		return nil, err
	}
	return t.rows()
}

// separator is the one that the lines of a log have most of; a comma may be one of decimals
// where there are others.
func separator(head []byte) rune {
	for _, c := range "\t;" {
		if strings.Count(string(head), string(c)) >= strings.Count(string(head), "\n")/2+1 {
			return c
		}
	}
	return ','
}

// unit is what a column of a log holds.
type unit struct {
	quantity byte    // t: time, P: power, U: voltage, I: current, E: energy or charge
	scale    float64 // to s, W, V, A
}

// units are those that a column's name may end in, in lower case.
var units = map[string]unit{
	"s": {'t', 1}, "sec": {'t', 1}, "seconds": {'t', 1}, "ms": {'t', 1e-3}, "us": {'t', 1e-6}, "µs": {'t', 1e-6}, "min": {'t', 60},
	"w": {'P', 1}, "watt": {'P', 1}, "watts": {'P', 1}, "mw": {'P', 1e-3}, "milliwatts": {'P', 1e-3}, "kw": {'P', 1e3},
	"v": {'U', 1}, "volt": {'U', 1}, "volts": {'U', 1}, "mv": {'U', 1e-3},
	"a": {'I', 1}, "amp": {'I', 1}, "amps": {'I', 1}, "ampere": {'I', 1}, "amperes": {'I', 1}, "ma": {'I', 1e-3},
	"wh": {'E', 1}, "mwh": {'E', 1}, "kwh": {'E', 1}, "j": {'E', 1}, "joules": {'E', 1}, "mah": {'E', 1}, "ah": {'E', 1},
}

// bare are names without a unit at their end that say enough.
var bare = map[string]unit{
	"time": {'t', 0}, "timestamp": {'t', 0}, "datetime": {'t', 0}, "date time": {'t', 0}, "elapsed": {'t', 0}, "t": {'t', 0},
	"power": {'P', 1}, "voltage": {'U', 1}, "current": {'I', 1}, "energy": {'E', 1}, "capacity": {'E', 1},
}

var unitAtEnd = regexp.MustCompile(`(?i)^(.*?)[\s_]*[\[(/]\s*([a-zµ]+)\s*[\])]?$|^(.*)[\s_]([a-zµ]+)$`)

// unitOf tells what a column holds by its name; false where that is not told.
func unitOf(name string) (unit, bool) {
	name = strings.ToLower(strings.TrimSpace(name))
	if u, ok := bare[name]; ok {
		return u, true
	}
	if u, ok := units[name]; ok && len(name) > 1 {
		return u, true
	}
	if m := unitAtEnd.FindStringSubmatch(name); m != nil {
		u, ok := units[m[2]+m[4]]
		return u, ok
	}
	return unit{}, false
}

// table reads a log row by row.
type table struct {
	Options
	in    *csv.Reader
	names []string

	time, watts, volts, amps    int // places of columns, -1 for none
	timeScale, scale, ampsScale float64
	timeUnit                    bool // of the times is said
}

// mostPreamble is how many lines may stand before the one that names the columns.
const mostPreamble = 50

func (t *table) header() error {
	for range mostPreamble {
		row, err := t.in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return fmt.Errorf("%s: %w", t.File, err)
		}
		if !namesColumns(row) {
			continue
		}
		for _, name := range row {
			t.names = append(t.names, strings.Clone(strings.TrimSpace(name)))
		}
		return t.choose()
	}
	if t.in.InputOffset() == 0 {
		return fmt.Errorf("%s is empty", t.File)
	}
	return fmt.Errorf("%s: no line names columns of time and power, such as time_s,power_w or Time;Power [W]", t.File)
}

// namesColumns tells whether a row names a time or a power, and no number.
func namesColumns(row []string) bool {
	known := 0
	for _, cell := range row {
		if _, err := run.ParseNumber(strings.TrimSpace(cell)); err == nil {
			return false
		}
		if _, ok := unitOf(cell); ok {
			known++
		}
	}
	return known > 0 && len(row) > 1
}

// choose finds the columns of time and power.
func (t *table) choose() error {
	found := map[byte][]int{}
	for i, name := range t.names {
		if u, ok := unitOf(name); ok {
			found[u.quantity] = append(found[u.quantity], i)
		}
	}
	var err error
	if t.time, err = t.column("time", t.Time, found['t']); err != nil {
		return err
	}
	t.volts, t.amps, t.timeScale, t.scale = -1, -1, 1, 1
	if u, ok := unitOf(t.names[t.time]); ok && u.quantity == 't' && u.scale > 0 {
		t.timeScale, t.timeUnit = u.scale, true
	}
	if t.Watts == "" && len(found['P']) == 0 && len(found['U']) == 1 && len(found['I']) == 1 {
		t.watts, t.volts, t.amps = -1, found['U'][0], found['I'][0]
		u, _ := unitOf(t.names[t.volts])
		i, _ := unitOf(t.names[t.amps])
		t.scale = u.scale * i.scale
		return nil
	}
	if t.watts, err = t.column("watts", t.Watts, found['P']); err != nil {
		return err
	}
	u, ok := unitOf(t.names[t.watts])
	switch {
	case ok && u.quantity == 'P':
		t.scale = u.scale
	case ok:
		return fmt.Errorf("%s: column %s is no power by its unit: name the one of watts with --watts", t.File, t.names[t.watts])
	}
	return nil
}

// column is the place of the column that is asked for, or of the only one there is.
func (t *table) column(what, asked string, found []int) (int, error) {
	if asked != "" {
		for i, name := range t.names {
			if strings.EqualFold(name, strings.TrimSpace(asked)) {
				return i, nil
			}
		}
		return 0, fmt.Errorf("%s has no column %q: its columns are %s", t.File, run.Shorten(asked), t.columns())
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return 0, fmt.Errorf("%s: no column is of %s by its name: say which with --%s; its columns are %s", t.File, what, what, t.columns())
	}
	var names []string
	for _, i := range found {
		names = append(names, t.names[i])
	}
	return 0, fmt.Errorf("%s: several columns may be of %s (%s): say which with --%s", t.File, what, strings.Join(names, ", "), what)
}

func (t *table) columns() string {
	names := t.names
	if len(names) > 20 {
		names = append(names[:20:20], "...")
	}
	return strings.Join(names, ", ")
}

func (t *table) rowError(column int, text string, err error) error {
	line, _ := t.in.FieldPos(0)
	return fmt.Errorf("%s: line %d, column %s: %q: %w", t.File, line, t.names[column], run.Shorten(text), err)
}

var errBackwards = errors.New("it is before the time of the row above: sort the log by time, or leave out what was logged before")

func (t *table) rows() (*Log, error) {
	log := &Log{}
	var clock clock
	for {
		row, err := t.in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", t.File, err)
		}
		if t.time >= len(row) || strings.TrimSpace(strings.Join(row, "")) == "" {
			continue // an empty line, or the rest of one at the end
		}
		if err := t.fields(row); err != nil {
			return nil, err
		}
		at, err := clock.read(strings.TrimSpace(row[t.time]), t)
		if err != nil {
			return nil, t.rowError(t.time, row[t.time], err)
		}
		w, known, err := t.power(row)
		if err != nil {
			return nil, err
		}
		if !known {
			log.Left++
			continue
		}
		if n := len(log.At); n > 0 && at < log.At[n-1] {
			return nil, t.rowError(t.time, row[t.time], errBackwards)
		} else if n >= mostValues {
			return nil, fmt.Errorf("%s: more than %d values, the most that are read of a log", t.File, mostValues)
		}
		log.At, log.Watts = append(log.At, at), append(log.Watts, w)
	}
	if len(log.At) < 2 {
		return nil, fmt.Errorf("%s: it holds %d values: at least two are needed", t.File, len(log.At))
	}
	log.Start, log.TimeUnit = clock.start, t.timeUnit || !clock.start.IsZero()
	log.From = t.names[max(t.watts, 0)]
	if t.watts < 0 {
		log.From = t.names[t.volts] + " x " + t.names[t.amps]
	}
	return log, t.plausible(log)
}

// fields refuses a row that has more of them than there are columns, as where decimals follow
// the sign that separates columns.
func (t *table) fields(row []string) error {
	for i := len(t.names); i < len(row); i++ {
		if strings.TrimSpace(row[i]) != "" {
			line, _ := t.in.FieldPos(0)
			return fmt.Errorf("%s: line %d has %d fields, and there are %d columns: where decimals follow a comma, separate the columns by semicolons", t.File, line, len(row), len(t.names))
		}
	}
	return nil
}

// power is the power of a row, W; not known where a cell is empty or says that it is not.
func (t *table) power(row []string) (watts float64, known bool, err error) {
	watts = t.scale
	for _, column := range []int{t.watts, t.volts, t.amps} {
		if column < 0 {
			continue
		}
		text := ""
		if column < len(row) {
			text = strings.TrimSpace(row[column])
		}
		switch strings.ToLower(text) {
		case "", "-", "--", "nan", "n/a", "null":
			return 0, false, nil
		}
		v, err := t.number(text)
		if err != nil {
			return 0, false, t.rowError(column, text, errors.New("it is no number"+run.ThousandsHint(err)))
		}
		watts *= v
	}
	if math.Abs(watts) > mostWatts {
		return 0, false, t.rowError(max(t.watts, t.volts), row[max(t.watts, t.volts)], fmt.Errorf("%.3g W are no power of a portable device: is the unit right? A column of milliwatts ends in it: power_mw, P [mW]", watts))
	}
	return watts, true, nil
}

// number reads a number. Where commas do not separate columns, one in a number without a
// point is a decimal comma.
func (t *table) number(text string) (float64, error) {
	if t.in.Comma != ',' && !strings.Contains(text, ".") {
		text = strings.Replace(text, ",", ".", 1)
	}
	return run.ParseNumber(text)
}

// mostWatts is far above what a portable device draws, W.
const mostWatts = 2000

// rises is the share of rows that may stand still in a column that only rises.
const rises = 0.5

// plausible refuses a column that only rises: an energy, or a time, in place of power.
func (t *table) plausible(log *Log) error {
	up := 0
	for i := 1; i < len(log.Watts); i++ {
		if log.Watts[i] < log.Watts[i-1] {
			return nil
		}
		if log.Watts[i] > log.Watts[i-1] {
			up++
		}
	}
	if len(log.Watts) < 20 || float64(up) < rises*float64(len(log.Watts)) {
		return nil
	}
	return fmt.Errorf("%s: column %s only rises, from %.4g to %.4g: it is an energy or a count, no power; name the column of watts with --watts", t.File, log.From, log.Watts[0], log.Watts[len(log.Watts)-1])
}
