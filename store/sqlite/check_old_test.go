package sqlite

import (
	"bytes"
	"os"
	"strings"
	"testing"
)

// Data of version 1 is read and decoded, without a word of it being changed: what cannot
// be read is told by run, and the others are whole.
func TestCheckOfDataWithoutChecksums(t *testing.T) {
	const firstRow = `(SELECT min(id) FROM readings WHERE id >> 32 = 2)`
	for _, c := range []struct {
		name, query string
		run         string // what is damaged of unit-oak-run-000, and of no other
		rest        string // part of what is damaged beside runs
	}{
		{name: "whole"},
		{name: "a plan and an outcome", query: `INSERT INTO plans VALUES (1, '2026-05-01T12:00:00.000Z', '7', '', '{}');
			INSERT INTO schedule_outcomes VALUES ('export', '2026-05-01T12:00:00.000Z', '2026-05-01T12:00:00.000Z', 'done', '')`},
		{name: "a start that is no time", query: `UPDATE runs SET started_at = 'yesterday' WHERE n = 1`, run: "labels and watts"},
		{name: "an endless number", query: `UPDATE summaries SET mean = 9e999 WHERE run = 1`, run: "summaries"},
		{name: "a finding at no time", query: `INSERT INTO findings VALUES (1, 0, 'hot', 'doubt', 'it is hot', 'noon')`, run: "findings"},
		{name: "a finding at no time, and an endless number", query: `INSERT INTO findings VALUES (1, 0, 'hot', 'doubt', 'it is hot', 'noon');
			UPDATE results SET value = 9e999 WHERE run = 1`, run: "results, findings"},
		{name: "a decision at no time", query: `INSERT INTO decisions VALUES (1, 'noon', 'keep', 'user', 'all well')`, run: "history"},
		{name: "a row of readings that cannot be decoded", query: `UPDATE readings SET data = x'ffffff' WHERE id = ` + firstRow, run: "readings"},
		{name: "a row of readings that is gone", query: `DELETE FROM readings WHERE id = ` + firstRow + ` + 1`, run: "readings"},
		{name: "idle readings that cannot be decoded", query: `UPDATE readings SET data = x'ffffff' WHERE id = 1 << 32`, rest: "idle readings from 2026-05-01"},
		{name: "a reference to nothing", query: `INSERT INTO decisions VALUES (99, NULL, 'keep', 'user', 'all well')`, rest: "a row of decisions refers to one of runs that is gone"},
		{name: "a plan that cannot be read", query: `INSERT INTO plans VALUES (1, '2026-05-01T12:00:00.000Z', 'many', '', '{}')`, rest: "plan 1: "},
		{name: "an outcome at no time", query: `INSERT INTO schedule_outcomes VALUES ('export', 'noon', 'noon', 'done', '')`, rest: "outcomes of the schedule: "},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := oldFile(t, c.query)
			before, err := os.ReadFile(path)
			must(t, err)
			s, err := Open(path, Options{ReadOnly: true})
			must(t, err)
			r, err := s.Check(t.Context())
			must(t, err)
			must(t, s.Close())
			if r.Checksums || r.Version != 1 || len(r.Runs) != 2 || r.Devices() != 1 || r.Whole != (c.run == "" && c.rest == "") {
				t.Fatalf("%+v", r)
			}
			for _, x := range r.Runs {
				want := ""
				if x.ID == "unit-oak-run-000" {
					want = c.run
				}
				if got := strings.Join(x.Damaged, ", "); got != want {
					t.Errorf("damaged of %s: %q, want %q", x.ID, got, want)
				}
			}
			if all := strings.Join(r.Damaged, "\n"); (all == "") != (c.rest == "") || !strings.Contains(all, c.rest) {
				t.Errorf("damaged beside runs: %q, want %q", all, c.rest)
			}
			after, err := os.ReadFile(path)
			if must(t, err); !bytes.Equal(before, after) {
				t.Error("the file was changed")
			}
		})
	}
}

// A page that is overwritten is damage of the file's structure, with or without checksums.
func TestCheckOfOldPages(t *testing.T) {
	path := oldFile(t)
	data, err := os.ReadFile(path)
	must(t, err)
	const page = 4096 // the file's last one
	copy(data[len(data)-page:], bytes.Repeat([]byte{0xff}, page))
	must(t, os.WriteFile(path, data, 0o644))
	s, err := Open(path, Options{ReadOnly: true})
	must(t, err)
	defer s.Close()
	if r, err := s.Check(t.Context()); err != nil || r.Whole || !strings.Contains(strings.Join(r.Damaged, "\n"), "the file's structure: ") {
		t.Errorf("%+v, %v", r, err)
	}
}
