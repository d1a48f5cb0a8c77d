package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"regexp"
	"sync"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// Check holds all that is kept against its checksums, see store.Checker, and has SQLite
// check the file's structure. What a file of version 1 has is only read and decoded.
func (s *Store) Check(ctx context.Context) (store.CheckReport, error) {
	c := checker{s: s, ctx: ctx, report: store.CheckReport{Path: s.path, Version: s.version, Checksums: s.version >= 2,
		Runs: []store.CheckedRun{}, Damaged: []string{}}}
	for _, step := range []struct {
		of string
		do func() error
	}{
		{"the file's structure", c.structure}, {"the file's schema", c.schema}, {"references between rows", c.references},
		{"runs", c.runs}, {"idle readings", c.idle}, {"plans", c.plans}, {"outcomes of the schedule", c.outcomes},
		{"declared settings", c.declarations},
	} {
		err := step.do()
		if ctx.Err() != nil {
			return c.report, s.fail("checking", ctx.Err())
		}
		if err != nil { // the file is damaged in a way that keeps SQLite from reading on
			c.damaged("%s: %v", step.of, err)
		}
	}
	c.report.Whole = len(c.report.Damaged) == 0 && c.report.DamagedRuns() == 0
	return c.report, nil
}

type checker struct {
	s      *Store
	ctx    context.Context
	report store.CheckReport
}

func (c *checker) damaged(format string, args ...any) {
	c.report.Damaged = append(c.report.Damaged, fmt.Sprintf(format, args...))
}

// shownProblems is how many faults of the structure are told.
const shownProblems = 20

// structure has SQLite check pages, order and indexes (https://sqlite.org/pragma.html#pragma_integrity_check).
func (c *checker) structure() error {
	return each(c.ctx, c.s.read, func(rows *sql.Rows) error {
		var text string
		err := rows.Scan(&text)
		if err == nil && text != "ok" {
			c.damaged("the file's structure: %s", text)
		}
		return err
	}, fmt.Sprintf("PRAGMA integrity_check(%d)", shownProblems))
}

// references are rows that refer to others which are not there.
func (c *checker) references() error {
	return each(c.ctx, c.s.read, func(rows *sql.Rows) error {
		var table, parent string
		var row sql.NullInt64
		var key int
		err := rows.Scan(&table, &row, &parent, &key)
		if err == nil && len(c.report.Damaged) < shownProblems {
			c.damaged("a row of %s refers to one of %s that is gone", table, parent)
		}
		return err
	}, "PRAGMA foreign_key_check")
}

// spaces are comments and white space, by which the schema of a file that an older
// version made may differ.
var spaces = regexp.MustCompile(`--.*|\s`)

// schema holds the tables and views against those of a new file. The tables of an older
// one were held against its own when it was opened, and nothing reads its views.
func (c *checker) schema() error {
	if c.s.version < Version {
		return nil
	}
	want, err := freshSchema()
	if err != nil {
		return err
	}
	got, err := schemaObjects(c.ctx, c.s.read)
	for name, text := range want {
		if got[name] != text {
			c.damaged("the file's schema: %s is not as sweepd makes it", name)
		}
	}
	return err
}

// freshSchema is that of a new file.
var freshSchema = sync.OnceValues(func() (map[string]string, error) {
	ctx := context.Background()
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1) // each has a memory of its own
	if _, err := db.ExecContext(ctx, schema); err != nil {
		return nil, err
	}
	return schemaObjects(ctx, db)
})

// schemaObjects are the statements that made what a file has, without spaces.
func schemaObjects(ctx context.Context, q rowsQueryer) (map[string]string, error) {
	all := map[string]string{}
	return all, each(ctx, q, func(rows *sql.Rows) error {
		var name, text string
		err := rows.Scan(&name, &text)
		all[name] = spaces.ReplaceAllString(text, "")
		return err
	}, `SELECT name, coalesce(sql, '') FROM sqlite_schema`)
}

// checkTogether is how many runs are read together.
const checkTogether = 500

func (c *checker) runs() error {
	if err := spans(c.ctx, c.s.read, checkTogether, c.someRuns); err != nil {
		return err
	}
	if !c.report.Checksums {
		return nil
	}
	lost, err := numbers(c.ctx, c.s.read, lostRuns)
	for _, n := range lost {
		c.damaged("a run is gone (the file's number %d)", n)
	}
	return err
}

func (c *checker) someRuns(chosen selection) error {
	r, err := c.s.readRuns(c.ctx, chosen, whole)
	if err != nil && !c.report.Checksums {
		return c.oldRuns(chosen)
	}
	for i := range r.runs {
		c.run(&r.runs[i], r.damage[i])
	}
	return err
}

// run reports a run after its readings.
func (c *checker) run(one *run.Run, damage partSet) {
	x := store.CheckedRun{ID: one.ID, Device: one.Device, Workload: one.Workload, StartedAt: one.StartedAt, Damaged: damage.names()}
	lost, err := c.lostReadings(func() (run.Trace, error) { return c.s.traceOf(c.ctx, one.ID, "1") })
	if lost || err != nil {
		x.Damaged = append(x.Damaged, "readings")
	}
	c.report.Runs = append(c.report.Runs, x)
}

// oldRuns finds those runs of a file of version 1 that cannot be read: there, one fails
// all that are read with it.
func (c *checker) oldRuns(chosen selection) error {
	all, err := numbers(c.ctx, c.s.read, `SELECT n FROM runs NOT INDEXED WHERE `+chosen.where, chosen.args...)
	for _, n := range all {
		if err := c.oldRun(n); err != nil {
			c.damaged("a run (the file's number %d): %v", n, err)
		}
	}
	return err
}

func (c *checker) oldRun(n int64) error {
	var one run.Run
	err := c.s.read.QueryRowContext(c.ctx, `SELECT id, device, workload FROM runs WHERE n = ?`, n).Scan(&one.ID, &one.Device, &one.Workload)
	if err != nil {
		return err
	}
	var damage partSet
	err = inTx(c.ctx, c.s.read, func(tx *sql.Tx) error {
		r := runReader{ctx: c.ctx, tx: tx, version: c.s.version, chosen: runNumber(n), at: map[int64]int{}}
		if r.readRows(listed) != nil {
			damage[partRow] = true
			return nil
		}
		one = r.runs[0]
		r.others = make([]others, 1)
		_, err := loadFactSets(c.ctx, tx)
		damage[partFacts] = err != nil
		damage[partResults] = r.readResults() != nil
		damage[partFindings] = r.readFindings() != nil
		damage[partSummaries] = r.readSummaries() != nil
		damage[partHistory] = r.readOldResults() != nil || r.readDecisions() != nil || r.readCorrections() != nil
		for p, odd := range r.odd(0) {
			damage[p] = damage[p] || odd
		}
		return nil
	})
	if err == nil {
		one.ID, one.Labels = shortened(one.ID), withoutOddTexts(one.Labels)
		c.run(&one, damage)
	}
	return err
}

// lostReadings walks a trace and tells whether part of it is lost.
func (c *checker) lostReadings(open func() (run.Trace, error)) (bool, error) {
	trace, err := open()
	if err != nil {
		return false, err
	}
	err = trace.Each(func(run.Sweep) error { return nil })
	return len(trace.Lost()) > 0, err
}

func (c *checker) idle() error {
	if c.report.Checksums {
		if gone, err := strayed(c.ctx, c.s.read); err != nil {
			return err
		} else if gone {
			c.damaged("readings that are gone, or told to be another's")
		}
	}
	ids, err := numbers(c.ctx, c.s.read, `SELECT id FROM series NOT INDEXED WHERE run IS NULL`)
	if err != nil {
		return err
	}
	for _, id := range ids {
		var t *trace
		lost, err := c.lostReadings(func() (_ run.Trace, err error) {
			t, err = c.s.openTrace(c.ctx, "", []int64{id}, time.UnixMilli(0)) // the first rows may have been dropped
			return t, err
		})
		if lost || err != nil {
			at := run.Timestamp{}
			if t != nil && len(t.lost) > 0 {
				at = run.Stamp(t.lost[0].From)
			}
			c.damaged("idle readings from %s on", at)
		}
	}
	return nil
}

func (c *checker) plans() error {
	if !c.report.Checksums {
		return c.oldPlans()
	}
	return inTx(c.ctx, c.s.read, func(tx *sql.Tx) error {
		ids, err := plansFrom(c.ctx, tx, 0)
		if err != nil {
			return err
		}
		for _, id := range ids {
			if err := checkPlan(c.ctx, tx, id); errors.Is(err, ErrDamaged) {
				c.damaged("%v", err)
			} else if err != nil {
				return err
			}
		}
		return nil
	})
}

// oldPlans reads the plans of a file of version 1.
func (c *checker) oldPlans() error {
	return inTx(c.ctx, c.s.read, func(tx *sql.Tx) error {
		ids, err := numbers(c.ctx, tx, `SELECT id FROM plans ORDER BY id`)
		for _, id := range ids {
			if _, err := planOf(c.ctx, tx, id); err != nil {
				c.damaged("plan %d: %v", id, err)
			}
		}
		return err
	})
}

func (c *checker) outcomes() error {
	return inTx(c.ctx, c.s.read, func(tx *sql.Tx) error {
		_, damaged, err := readOutcomes(c.ctx, tx, c.s.version)
		if damaged > 0 {
			c.damaged("%d outcomes of the schedule", damaged)
		}
		return err
	})
}

func (c *checker) declarations() error {
	if c.s.version < 3 {
		return nil
	}
	return each(c.ctx, c.s.read, func(rows *sql.Rows) error {
		_, err := readDeclaration(rows)
		if errors.Is(err, ErrDamaged) {
			c.damaged("%v", err)
			return nil
		}
		return err
	}, declarationColumns)
}
