package exporter

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"
	"time"

	"sweepd/internal/bounded"
	"sweepd/run"
)

// RowError says which cell of a tidy table cannot be read.
type RowError struct {
	File   string
	Line   int // from 1, the header's
	Column string
	Text   string
	Err    error
}

func (e *RowError) Error() string {
	return fmt.Sprintf("%s: line %d, column %s: %q: %v", e.File, e.Line, e.Column, e.Text, e.Err)
}

func (e *RowError) Unwrap() error { return e.Err }

// TidyOptions say how to read a tidy table.
type TidyOptions struct {
	File  string   // its name, for errors
	Lower []string // results of which less is better, besides those that the table names itself
	// New says that columns are meant as they are which are called almost like a known one.
	New bool
	// Told, if any, is told the row of each run before the run is given.
	Told func(row TidyRow, r *run.Record)
}

// TidyRow is what a row says beside its run.
type TidyRow struct {
	Line            int           // from 1, the header's
	HasID, HasState bool          // it names them itself
	StartedTo       time.Duration // to which its start is written; a day where it is a midnight, 0: it has none
	// Recording is that of a run that was being recorded when the table was written. No
	// run is given for it.
	Recording bool
}

// ReadTidy reads a tidy table row by row, once. It ends at the first cell that cannot be
// read, with an error that names file, line, column and text; the caller then discards
// the runs before it, as it does after the last row where nothing in the whole table
// tells a decimal comma from a separator of thousands.
//
// A run without an id gets one that is derived from what its row says, so that importing
// a file twice adds nothing, however its numbers are written. The second and later ones
// of equal rows get ids of their own. Former names the ids that earlier versions derived.
func ReadTidy(r io.Reader, o TidyOptions) iter.Seq2[*run.Record, error] {
	return func(yield func(*run.Record, error) bool) {
		t := &tidyReader{TidyOptions: o, labels: map[string]string{},
			ids: newRowIDs(idVersion), written: newRowIDs(formerVersion), plain: newRowIDs(formerVersion)}
		in, err := t.open(r)
		if err != nil {
			yield(nil, err)
			return
		}
		for {
			d, err := t.next(in)
			if errors.Is(err, io.EOF) || !yield(d, err) || err != nil {
				return
			}
		}
	}
}

// open reads as far as the header.
func (t *tidyReader) open(r io.Reader) (*csv.Reader, error) {
	in := bounded.NewTable(r, delimiter)
	in.ReuseRecord = true
	return in, t.readHeader(in)
}

type tidyReader struct {
	TidyOptions
	columns []tidyColumn
	numbers notation
	row     TidyRow
	at      place  // of the cell that is read
	name    []byte // of a row, reused
	labels  map[string]string
	// Ids of the rows: of what they say, of their text as it is written, and of that as
	// earlier versions could read it.
	ids, written, plain *rowIDs
}

// next is the run of the next row, io.EOF after the last.
func (t *tidyReader) next(in *csv.Reader) (*run.Record, error) {
	for {
		record, line, err := t.record(in)
		if err != nil {
			if errors.Is(err, io.EOF) {
				err = cmp.Or(t.numbers.doubt(t.File, true), err)
			}
			return nil, err
		}
		t.row = TidyRow{Line: line}
		d, err := t.readRun(record, line)
		if err == nil {
			err = t.numbers.doubt(t.File, false)
		}
		if err == nil && t.Told != nil {
			t.Told(t.row, d)
		}
		if err != nil || !t.row.Recording {
			return d, err
		}
	}
}

// record is the next row that is not empty, io.EOF after the last. A row of too few or too
// many cells is csv.ErrFieldCount, and others may follow.
func (t *tidyReader) record(in *csv.Reader) (record []string, line int, err error) {
	for {
		record, err = in.Read()
		switch {
		case errors.Is(err, io.EOF):
			return nil, 0, io.EOF
		case errors.Is(err, csv.ErrFieldCount):
			line, _ = in.FieldPos(0)
			return nil, line, fmt.Errorf("%s: line %d: %q: %w: it has %d, the heading %d; put a cell that holds the separator in quotes (\"68,4\")",
				t.File, line, shorten(strings.Join(record, string(in.Comma))), csv.ErrFieldCount, len(record), len(t.columns))
		case err != nil:
			return nil, 0, fmt.Errorf("%s: %w", t.File, bounded.TableError(err))
		}
		if slices.ContainsFunc(record, func(cell string) bool { return strings.TrimSpace(cell) != "" }) { // spreadsheets leave others behind
			line, _ = in.FieldPos(0)
			return record, line, nil
		}
	}
}

func (t *tidyReader) readRun(record []string, line int) (*run.Record, error) {
	d := &run.Record{Summaries: []run.Summary{}}
	d.State, d.Findings, d.Results = run.Finished, []run.Finding{}, map[string]run.Result{}
	var units, lower, state string
	for i := range t.columns {
		c := &t.columns[i]
		text := strings.TrimSpace(record[i])
		if strings.HasPrefix(text, "'") && slices.Contains(textColumns, c.name) {
			text = run.FromCSVText(text)
		}
		t.at = place{line, c.heading, record[i]}
		var err error
		switch {
		case c.name == colUnits && c.known:
			units = text
		case c.name == colLower && c.known:
			lower = text
		case c.name == colState && c.known:
			state = text
			t.row.HasState, t.row.Recording = text != "", strings.EqualFold(text, string(run.Recording))
			if d.State = run.Recording; !t.row.Recording {
				d.State, err = readState(text)
			}
		default:
			err = t.readCell(d, c, text)
		}
		if err != nil {
			return nil, t.at.error(t.File, err)
		}
	}
	if err := t.readResultTerms(d, units, lower); err != nil {
		return nil, fmt.Errorf("%s: line %d: %w", t.File, line, err)
	}
	if t.row.Recording {
		return d, nil
	}
	if t.row.HasID = d.ID != ""; !t.row.HasID {
		t.derive(d, record)
	}
	if err := d.CheckImported(); err != nil {
		return nil, fmt.Errorf("%s: line %d: %w", t.File, line, err)
	}
	if strings.EqualFold(state, string(run.Finished)) && d.Why != "" { // as exported: no other finished run has a reason
		d.Findings = append(d.Findings, run.KeptInterruptedFinding(d.DurationS, d.Why))
	}
	return d, nil
}

// place is where a cell is, and its text, which is valid until the next row.
type place struct {
	line         int
	column, text string
}

func (p place) error(file string, err error) *RowError {
	return &RowError{File: file, Line: p.line, Column: p.column, Text: shorten(p.text), Err: err}
}

func shorten(s string) string {
	if len(s) > 60 {
		return strings.ToValidUTF8(s[:60], "") + "..."
	}
	return strings.Clone(s)
}

// readCell enters the text of one column in a run.
func (t *tidyReader) readCell(d *run.Record, c *tidyColumn, text string) (err error) {
	if !c.known {
		return t.readResult(d, c, text)
	}
	number := func(want string, valid func(float64) bool) (*float64, error) {
		return t.readNumber(c, text, want, valid)
	}
	switch column := c.name; column {
	case colDevice:
		d.Device, err = t.sharedLabel(column, text)
	case colWorkload:
		d.Workload, err = t.sharedLabel(column, text)
	case colVariant:
		d.Variant, err = run.ParseVariant(strings.Clone(text))
	case colSupply:
		d.Supply, err = readSupply(text)
	case colSettingW:
		var w *float64
		w, err = number("watts above 0, at most 1000", func(w float64) bool { return w > 0 && w <= run.MaxSettingWatts })
		if w != nil {
			d.Setting.Setting = run.Watts(*w)
		}
	case colSetting:
		if _, inWatts := d.Setting.Watts(); !inWatts {
			d.Setting.Setting, err = readSetting(text)
		}
	case colStarted:
		if d.StartedAt, err = readTime(text); err == nil {
			t.row.StartedTo = precision(text)
		}
	case colDuration:
		d.DurationS, err = number("seconds, not negative", notNegative)
	case colPackage:
		d.PackageW, err = number("watts, not negative", notNegative)
	case colSystem:
		d.SystemW, err = number("watts", func(float64) bool { return true })
	case colRun:
		if text != "" {
			d.ID, err = strings.Clone(text), run.CheckID(text)
		}
	case colWhy:
		d.Why, err = readLines(column, text)
	case colNote:
		d.Note, err = readLines(column, text)
	case colRevision:
		d.Revision = strings.Clone(text)
	}
	return err
}

// sharedLabel checks a label and returns the same text for the same label, which recurs
// in every row, so that it takes memory once.
func (t *tidyReader) sharedLabel(what, text string) (string, error) {
	if label, there := t.labels[text]; there {
		return label, nil
	}
	if err := run.CheckLabel(what, text); err != nil {
		return "", err
	}
	label := strings.Clone(text)
	t.labels[label] = label
	return label, nil
}

func (t *tidyReader) readResult(d *run.Record, c *tidyColumn, text string) error {
	if text == "" {
		return nil
	}
	digits, unit := cutMeasure(text)
	v, err := t.numbers.read(digits, t.at)
	switch {
	case err != nil && c.near != "":
		return fmt.Errorf("is not a finite number, and %s is no known column: did you mean %s?", c.name, c.near)
	case err != nil:
		return errors.New("is not a finite number, and a column that is not known holds a result; leave unknown results empty, and other text out")
	case unit != "" && c.unit == "":
		c.unit = unit
	case unit != "" && unit != c.unit:
		return fmt.Errorf("is in %s, but the column is in %s: give all numbers of a column in one unit", unit, c.unit)
	}
	better := run.Higher
	if slices.Contains(t.Lower, c.name) {
		better = run.Lower
	}
	r := run.Result{Value: v, Unit: c.unit, Better: better}
	d.Results[c.name] = r
	return run.CheckResult(c.name, r)
}

// readResultTerms enters the columns units and lower in a run's results.
func (t *tidyReader) readResultTerms(d *run.Record, units, lower string) error {
	for _, pair := range splitSemicolons(units) {
		name, unit, _ := strings.Cut(pair, "=")
		r, there := d.Results[name]
		if !there {
			return fmt.Errorf("column %s: %q names a result that the row does not have", colUnits, name)
		}
		r.Unit = strings.Clone(unit)
		if err := run.CheckResult(name, r); err != nil {
			return fmt.Errorf("column %s: %w", colUnits, err)
		}
		d.Results[name] = r
	}
	for _, name := range splitSemicolons(lower) {
		r, there := d.Results[name]
		if !there {
			return fmt.Errorf("column %s: %q names a result that the row does not have", colLower, name)
		}
		r.Better = run.Lower
		d.Results[name] = r
	}
	return nil
}

// splitSemicolons takes apart what joinSemicolons made.
func splitSemicolons(text string) []string {
	if text == "" {
		return nil
	}
	in := csv.NewReader(strings.NewReader(text))
	in.Comma, in.LazyQuotes = ';', true
	list, err := in.Read()
	if err != nil { // nothing is in it
		return nil
	}
	return list
}

// readSetting reads a name of a setting, or watts where the text is a number of watts.
func readSetting(text string) (run.Setting, error) {
	if s, err := run.ParseSetting(text); err == nil && s.Name() == "" || text == "" {
		return s, nil
	}
	return run.Named(strings.Clone(text)), run.CheckLabel(colSetting, text)
}

func readLines(column, text string) (string, error) {
	return strings.Clone(run.NoteText(text)), run.CheckText(column, text)
}

func readSupply(text string) (run.Supply, error) {
	switch s := run.Supply(strings.ToLower(text)); s {
	case run.Mains:
		return run.Mains, nil
	case run.Battery:
		return run.Battery, nil
	case run.SupplyUnknown:
		return s, nil
	}
	return "", fmt.Errorf("is no supply%s: want mains, battery or nothing", meant(text, string(run.Mains), string(run.Battery)))
}

func readState(text string) (run.State, error) {
	states := []string{string(run.Finished), string(run.Interrupted), string(run.Rejected)}
	switch i := slices.Index(states, strings.ToLower(text)); {
	case text == "":
		return run.Finished, nil
	case i >= 0:
		return run.State(states[i]), nil
	}
	return "", fmt.Errorf("is no state of a run that ended%s: want finished, interrupted, rejected or nothing", meant(text, states...))
}

// meant asks whether one of the words was meant; "" where none is near.
func meant(text string, words ...string) string {
	if near := run.Near(text, words); near != "" {
		return " (did you mean " + near + "?)"
	}
	return ""
}

// readNumber reads a finite number of a known column that is valid, in the column's unit;
// empty is unknown.
func (t *tidyReader) readNumber(c *tidyColumn, text, want string, valid func(float64) bool) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	digits, unit := cutMeasure(text)
	x, err := t.numbers.read(digits, t.at)
	scale := c.scale
	if unit != "" {
		same := false
		if scale, same = run.UnitFactor(unit, measured[c.name].unit); !same {
			return nil, fmt.Errorf("is in %s: want a number of %s", unit, want)
		}
	}
	if x *= scale; err != nil || !valid(x) {
		return nil, fmt.Errorf("is not a number of %s", want)
	}
	return &x, nil
}

func notNegative(x float64) bool { return x >= 0 }

// timeForms are RFC 3339, also with a blank in place of the T and without seconds.
var timeForms = []string{time.RFC3339Nano, "2006-01-02 15:04:05.999999999Z07:00", "2006-01-02T15:04Z07:00", "2006-01-02 15:04Z07:00"}

func readTime(text string) (run.Timestamp, error) {
	if text == "" {
		return run.Timestamp{}, nil
	}
	for _, form := range timeForms {
		if at, err := time.Parse(form, text); err == nil {
			return run.Stamp(at), nil
		}
	}
	return run.Timestamp{}, errors.New("is no time: want RFC 3339 with its zone, such as 2026-05-04T09:30:00Z or 2026-05-04T11:30:00+02:00")
}

// precision is that to which a valid time is written, at most a second's thousandth; that
// of a midnight is a day, for a day without a time is written so.
func precision(text string) time.Duration {
	_, clock, found := strings.Cut(text, ":")
	switch {
	case !found:
		return 0
	case len(clock) < 5 || clock[2] != ':':
		return time.Minute
	}
	to, fraction := time.Second, clock[5:]
	if strings.HasPrefix(fraction, ".") || strings.HasPrefix(fraction, ",") {
		for i := 1; i < len(fraction) && '0' <= fraction[i] && fraction[i] <= '9'; i++ {
			to = max(to/10, time.Millisecond)
		}
	}
	hour, _, _ := strings.Cut(text, ":")
	if to == time.Second && strings.HasSuffix(hour, "00") && strings.HasPrefix(clock, "00:00") {
		return 24 * time.Hour
	}
	return to
}
