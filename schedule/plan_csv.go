package schedule

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"sweepd/internal/bounded"
	"sweepd/run"
)

// planColumns are those of a plan's table: the pass, the labels as in the tidy table of
// runs, and two that have the same value in every row: the keys that are hard to
// change, joined by commas, and the seed.
var planColumns = []string{"pass", "device", "workload", "variant", "supply", "setting_w", "setting", "hard", "seed"}

// WriteCSV writes the plan as a table, a row for each slot in order.
func (p *Plan) WriteCSV(w io.Writer) error {
	rows := [][]string{planColumns}
	hard, seed := strings.Join(p.Hard, ","), strconv.FormatUint(p.Seed, 10)
	for _, s := range p.Slots {
		watts := ""
		if w, ok := s.Setting.Watts(); ok {
			watts = strconv.FormatFloat(w, 'f', -1, 64)
		}
		row := []string{strconv.Itoa(s.Pass), s.Device, s.Workload, string(s.Variant), string(s.Supply), watts, s.Setting.Name(), hard, seed}
		for i, text := range row {
			row[i] = run.CSVText(run.Visible(text))
		}
		rows = append(rows, row)
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// ReadCSV reads a plan from a table, one slot a row, in the order of the rows. A row
// without a pass is in pass n if it is the nth row of its cell. A pass may not be lower
// than that of the row above. Errors name file, line, column and text.
func ReadCSV(r io.Reader, file string, e Estimates, now time.Time) (Plan, error) {
	p := Plan{CreatedAt: run.Stamp(now), Hard: []string{}, Slots: []Slot{}}
	in := bounded.NewTable(r, nil)
	columns, err := planHeader(in, file)
	if err != nil {
		return p, err
	}
	rows := map[run.Cell]int{}
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return p, fmt.Errorf("plan %s: %w", file, bounded.TableError(err))
		}
		line, _ := in.FieldPos(0)
		s, err := readSlot(columns, record)
		if err != nil {
			return p, fmt.Errorf("plan %s: line %d: %w", file, line, err)
		}
		if err := p.readPlanTerms(columns, record, len(p.Slots) == 0); err != nil {
			return p, fmt.Errorf("plan %s: line %d: %w", file, line, err)
		}
		rows[s.Cell]++
		if s.Pass == 0 {
			s.Pass = rows[s.Cell]
		}
		if n := len(p.Slots); n > 0 && s.Pass < p.Slots[n-1].Pass {
			return p, fmt.Errorf("plan %s: line %d: pass %d comes after pass %d: every pass ends before the next one begins", file, line, s.Pass, p.Slots[n-1].Pass)
		}
		if len(p.Slots) == maxSlots {
			return p, fmt.Errorf("plan %s: line %d: more than %d runs", file, line, maxSlots)
		}
		p.Slots = append(p.Slots, s)
	}
	if len(p.Slots) == 0 {
		return p, fmt.Errorf("plan %s: it has no row but the header", file)
	}
	bare := !slices.ContainsFunc(p.Slots, func(s Slot) bool { return s.Variant != "" })
	for _, key := range p.Hard { // as in a request
		if !bare && !slices.ContainsFunc(p.Slots, func(s Slot) bool { _, has := s.Variant.Get(key); return has }) {
			return p, fmt.Errorf("plan %s: column hard: %q: no variant has it", file, key)
		}
	}
	p.planCharging(e)
	return p, nil
}

// readPlanTerms reads the columns hard and seed, which are about the whole plan: the
// first row sets them, and the others must have the same values.
func (p *Plan) readPlanTerms(columns, record []string, first bool) error {
	hard, seed := []string{}, uint64(0)
	for i, column := range columns {
		text := run.FromCSVText(strings.TrimSpace(record[i]))
		switch {
		case text == "":
		case column == "hard":
			for key := range strings.SplitSeq(text, ",") {
				if key = strings.TrimSpace(key); key == "" {
					return fmt.Errorf("column hard: %q: want keys of the variant joined by commas", text)
				}
				hard = append(hard, key)
			}
		case column == "seed":
			var err error
			if seed, err = strconv.ParseUint(text, 10, 64); err != nil {
				return fmt.Errorf("column seed: %q: want a whole number from 0", text)
			}
		}
	}
	if first {
		p.Hard, p.Seed = hard, seed
	}
	if !slices.Equal(hard, p.Hard) || seed != p.Seed {
		return errors.New("columns hard and seed: they are of the whole plan, and differ from the first row's")
	}
	return nil
}

func planHeader(in *csv.Reader, file string) ([]string, error) {
	header, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("plan %s: it is empty; the first line names the columns: %s", file, strings.Join(planColumns, ","))
	}
	if err != nil {
		return nil, fmt.Errorf("plan %s: %w", file, err)
	}
	for i, name := range header {
		header[i] = strings.TrimSpace(name)
		if !slices.Contains(planColumns, header[i]) {
			return nil, fmt.Errorf("plan %s: line 1, column %d: unknown column %q: the columns are %s", file, i+1, name, strings.Join(planColumns, ","))
		}
		if slices.Contains(header[:i], header[i]) {
			return nil, fmt.Errorf("plan %s: line 1, column %d: %s stands twice", file, i+1, header[i])
		}
	}
	for _, need := range []string{"device", "workload", "supply"} {
		if !slices.Contains(header, need) {
			return nil, fmt.Errorf("plan %s: line 1: the column %s is missing", file, need)
		}
	}
	return slices.Clone(header), nil
}

func readSlot(columns, record []string) (s Slot, err error) {
	for i, column := range columns {
		text := run.FromCSVText(strings.TrimSpace(record[i]))
		var err error
		switch column {
		case "pass":
			if text != "" {
				if s.Pass, err = strconv.Atoi(text); err != nil || s.Pass < 1 || s.Pass > maxSlots {
					err = errors.New("want a whole number from 1")
				}
			}
		case "device":
			s.Device = text
		case "workload":
			s.Workload = text
		case "variant":
			s.Variant, err = run.ParseVariant(text)
		case "supply":
			s.Supply = run.Supply(text)
		case "setting_w":
			if text != "" {
				if s.Setting, err = run.ParseSetting(text + "W"); err == nil && s.Setting.Name() != "" {
					err = errors.New("want watts")
				}
			}
		case "setting":
			if _, inWatts := s.Setting.Watts(); text != "" && !inWatts {
				s.Setting, err = run.ParseSetting(text)
			}
		}
		if err != nil {
			return s, fmt.Errorf("column %s: %q: %w", column, text, err)
		}
	}
	return s, s.Check()
}
