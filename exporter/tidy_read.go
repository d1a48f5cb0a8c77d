package exporter

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

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

// ReadTidy reads a tidy table row by row, once. It ends at the first cell that cannot be
// read, with an error that names file, line, column and text; the caller then discards
// the runs before it. lower names the results of which less is better, besides those
// that the table names itself.
//
// A run without an id gets one that is derived from its row, so that importing a
// file twice adds nothing. The second and later ones of equal rows get ids of their own.
func ReadTidy(r io.Reader, file string, lower []string) iter.Seq2[*run.Record, error] {
	return func(yield func(*run.Record, error) bool) {
		t := &tidyReader{file: file, lower: lower, equalRows: map[uuid.UUID]int{}, labels: map[string]string{}}
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

// delimiter is that of comma, semicolon and tab which sets the needed columns apart
// in the first line, else the commonest there.
func delimiter(head []byte) rune {
	line, _, _ := strings.Cut(string(head), "\n")
	best := ','
	for _, c := range []rune{',', ';', '\t'} {
		in := csv.NewReader(strings.NewReader(line))
		in.Comma, in.LazyQuotes = c, true
		if names, _ := in.Read(); slices.Contains(names, colDevice) && slices.Contains(names, colWorkload) {
			return c
		}
		if strings.Count(line, string(c)) > strings.Count(line, string(best)) {
			best = c
		}
	}
	return best
}

type tidyReader struct {
	file      string
	lower     []string
	columns   []string
	equalRows map[uuid.UUID]int // how often each row occurred, by the id of the first
	name      []byte            // of a row, reused
	labels    map[string]string
}

var errTidy = errors.New("is no tidy table")

func (t *tidyReader) readHeader(in *csv.Reader) error {
	header, err := in.Read()
	if errors.Is(err, io.EOF) {
		return fmt.Errorf("%s %w: it is empty; the first line names the columns (device,workload,setting_w,...)", t.file, errTidy)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", t.file, err)
	}
	for i, name := range header {
		name = run.FromCSVText(strings.TrimSpace(name))
		if err := run.CheckLabel("column name", name); err != nil {
			return fmt.Errorf("%s: line 1, column %d: %w", t.file, i+1, err)
		}
		if slices.Contains(t.columns, name) {
			return fmt.Errorf("%s: line 1: column %s stands twice", t.file, name)
		}
		t.columns = append(t.columns, strings.Clone(name))
	}
	for _, needed := range []string{colDevice, colWorkload} {
		if !slices.Contains(t.columns, needed) {
			return fmt.Errorf("%s %w: it has no column %s; its columns are %s", t.file, errTidy, needed, strings.Join(t.columns, ", "))
		}
	}
	return nil
}

// next is the run of the next row, io.EOF after the last.
func (t *tidyReader) next(in *csv.Reader) (*run.Record, error) {
	record, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, io.EOF
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", t.file, err)
	}
	line, _ := in.FieldPos(0)
	return t.readRun(record, line)
}

func (t *tidyReader) readRun(record []string, line int) (*run.Record, error) {
	d := &run.Record{Summaries: []run.Summary{}}
	d.State, d.Findings, d.Results = run.Finished, []run.Finding{}, map[string]run.Result{}
	var units, lower, state string
	for i, column := range t.columns {
		text := strings.TrimSpace(record[i])
		var err error
		if strings.HasPrefix(text, "'") && slices.Contains(textColumns, column) {
			text = run.FromCSVText(text)
		}
		switch column {
		case colUnits:
			units = text
		case colLower:
			lower = text
		case colState:
			state = text
			d.State, err = readState(text)
		default:
			err = t.readCell(d, column, text)
		}
		if err != nil {
			return nil, &RowError{File: t.file, Line: line, Column: column, Text: shorten(record[i]), Err: err}
		}
	}
	if err := t.readResultTerms(d, units, lower); err != nil {
		return nil, fmt.Errorf("%s: line %d: %w", t.file, line, err)
	}
	if d.ID == "" {
		d.ID = t.derivedID(record)
	}
	if state == string(run.Finished) && d.Why != "" { // as exported: no other finished run has a reason
		d.Findings = append(d.Findings, run.KeptInterruptedFinding(d.DurationS, d.Why))
	}
	return d, nil
}

func shorten(s string) string {
	if len(s) > 60 {
		return s[:60] + "..."
	}
	return s
}

// readCell enters the text of one column in a run.
func (t *tidyReader) readCell(d *run.Record, column, text string) (err error) {
	switch column {
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
		w, err = readNumber(text, "watts above 0, at most 1000", func(w float64) bool { return w > 0 && w <= run.MaxSettingWatts })
		if w != nil {
			d.Setting.Setting = run.Watts(*w)
		}
	case colSetting:
		if _, inWatts := d.Setting.Watts(); !inWatts {
			d.Setting.Setting, err = readSetting(text)
		}
	case colStarted:
		d.StartedAt, err = readTime(text)
	case colDuration:
		d.DurationS, err = readNumber(text, "seconds, not negative", notNegative)
	case colPackage:
		d.PackageW, err = readNumber(text, "watts, not negative", notNegative)
	case colSystem:
		d.SystemW, err = readNumber(text, "watts", func(float64) bool { return true })
	case colRun:
		if text != "" {
			d.ID, err = strings.Clone(text), run.CheckID(text)
		}
	case colWhy:
		d.Why, err = readLines(column, text)
	case colNote:
		d.Note, err = readLines(column, text)
	default:
		err = t.readResult(d, column, text)
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

func (t *tidyReader) readResult(d *run.Record, name, text string) error {
	if text == "" {
		return nil
	}
	v, err := run.ParseNumber(text)
	if err != nil {
		return errors.New("is not a finite number, and a column that is not known holds a result; leave unknown results empty, and other text out")
	}
	better := run.Higher
	if slices.Contains(t.lower, name) {
		better = run.Lower
	}
	r := run.Result{Value: v, Better: better}
	d.Results[name] = r
	return run.CheckResult(name, r)
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
	switch s := run.Supply(text); s {
	case run.Mains:
		return run.Mains, nil
	case run.Battery:
		return run.Battery, nil
	case run.SupplyUnknown:
		return s, nil
	}
	return "", errors.New("is no supply: want mains, battery or nothing")
}

func readState(text string) (run.State, error) {
	switch text {
	case "":
		return run.Finished, nil
	case string(run.Finished), string(run.Interrupted), string(run.Rejected):
		return run.State(strings.Clone(text)), nil
	}
	return "", errors.New("is no state of a run that ended: want finished, interrupted, rejected or nothing")
}

// readNumber reads a finite number that is valid; empty is unknown.
func readNumber(text, want string, valid func(float64) bool) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	x, err := run.ParseNumber(text)
	if err != nil || !valid(x) {
		return nil, fmt.Errorf("is not a number of %s", want)
	}
	return &x, nil
}

func notNegative(x float64) bool { return x >= 0 }

func readTime(text string) (run.Timestamp, error) {
	if text == "" {
		return run.Timestamp{}, nil
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return run.Timestamp{}, errors.New("is no time: want RFC 3339, such as 2026-05-04T09:30:00Z")
	}
	return run.Stamp(at), nil
}

// rowNamespace is the name space of ids that are derived from rows (RFC 9562, 5.5).
var rowNamespace = uuid.MustParse("6f6c3a52-4f0b-5c8e-9a27-7d1f5f0e8b11")

// derivedID is a name-based id of a row: the same row gives the same id.
func (t *tidyReader) derivedID(record []string) string {
	name := t.name[:0]
	part := func(text string, end byte) {
		name = strconv.AppendInt(name, int64(len(text)), 10)
		name = append(append(append(name, ':'), text...), end)
	}
	for i, column := range t.columns {
		if text := strings.TrimSpace(record[i]); text != "" {
			part(column, '=')
			part(text, ';')
		}
	}
	id := uuid.NewSHA1(rowNamespace, name)
	t.equalRows[id]++
	if n := t.equalRows[id]; n > 1 {
		name = strconv.AppendInt(name, int64(n), 10)
		id = uuid.NewSHA1(rowNamespace, name)
	}
	t.name = name
	return id.String()
}
