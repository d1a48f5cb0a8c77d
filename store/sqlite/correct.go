package sqlite

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// Correct changes a run, see store.Corrector.
func (s *Store) Correct(ctx context.Context, id string, c run.Correction) (run.Record, error) {
	list, err := s.CorrectAll(ctx, []store.RunCorrection{{Run: id, Correction: c}})
	if err != nil {
		return run.Record{}, err
	}
	return list[0], nil
}

// deciding says in errors what was being done.
var deciding = map[run.Decision]string{run.Reject: "rejecting a run in", run.Keep: "keeping a run in", run.Unkeep: "keeping a run no longer in"}

// CorrectAll changes runs, all or none, see store.Corrector.
func (s *Store) CorrectAll(ctx context.Context, list []store.RunCorrection) (corrected []run.Record, err error) {
	doing := "correcting a run in"
	for _, c := range list {
		if err := c.Check(); err != nil {
			return nil, err
		}
		doing = cmp.Or(deciding[c.Decision], doing)
		if len(c.Changes) == 0 && len(c.Results) > 0 {
			doing = "storing a result in"
		}
	}
	return corrected, s.fail(doing, s.commit(ctx, true, func(tx *sql.Tx) error {
		w := newRunWriter(ctx, tx)
		corrected = nil
		for _, c := range list {
			n, state, err := runState(ctx, tx, c.Run, keptRuns)
			if err != nil {
				return err
			}
			err = w.change(n, func(before *run.Record) error { return w.correct(n, state, before, c.Correction) })
			if err != nil {
				return fmt.Errorf("run %s: %w", c.Run, err)
			}
			after, err := readRuns(ctx, tx, Version, runNumber(n), whole)
			if err != nil {
				return err
			}
			corrected = append(corrected, after.records()[0])
		}
		return nil
	}))
}

func (w *runWriter) correct(n int64, state run.State, before *run.Record, c run.Correction) error {
	if err := w.correctTyped(n, state, before, c); err != nil {
		return err
	}
	for _, code := range slices.Sorted(maps.Keys(c.Findings)) {
		if err := w.replaceFinding(n, code, c.Findings[code]); err != nil {
			return err
		}
	}
	if c.System != nil {
		if _, err := w.exec(`UPDATE runs SET system_w = ? WHERE n = ?`, number(c.System.Watts), n); err != nil {
			return err
		}
	}
	who := "user"
	if c.FindingWhy != "" {
		who = "finding"
	}
	switch c.Decision {
	case run.Reject:
		if state == run.Recording {
			return store.ErrStillRecording
		}
		if _, err := w.exec(`UPDATE runs SET why = ?, state = 'rejected',
			state_before = CASE state WHEN 'rejected' THEN state_before ELSE state END WHERE n = ?`, c.DecisionWhy(), n); err != nil {
			return err
		}
	case run.Keep:
		if err := w.keep(n, state, c.DecisionWhy()); err != nil {
			return err
		}
	case run.Unkeep:
		if err := w.unkeep(n, state); err != nil {
			return err
		}
	case run.Trim, run.Untrim:
		if err := w.trim(n, state, c); err != nil {
			return err
		}
	default:
		return nil
	}
	return w.decide(n, c.At, c.Decision, who, c.DecisionWhy())
}

// correctTyped corrects results and what else was typed, and keeps what it was before.
func (w *runWriter) correctTyped(n int64, state run.State, before *run.Record, c run.Correction) error {
	after := before.Run
	after.Results, after.Facts = maps.Clone(before.Results), maps.Clone(before.Facts)
	changes := slices.Clone(c.Changes)
	for _, name := range slices.Sorted(maps.Keys(c.Results)) {
		r, old := c.Results[name], before.Results[name]
		_, was := before.Results[name]
		if was && r.KeepBetter {
			r.Better = old.Better
		}
		if c.Batch != "" || was && r.Result != old {
			changes = append(changes, run.Change{What: run.FieldResult, Name: name, Old: run.Change{What: run.FieldResult, Name: name}.Of(&before.Run), New: run.ResultText(r.Result)})
			continue
		}
		if err := w.setResult(n, name, r, c.At); err != nil {
			return err
		}
	}
	changes = slices.DeleteFunc(changes, func(x run.Change) bool { return x.Old == x.New })
	if c.Batch == "" && len(changes) > 0 {
		id, err := run.NewID(c.At, nil)
		if err != nil {
			return err
		}
		c.Batch = id
	}
	for _, x := range changes {
		if err := x.ApplyTo(&after); err != nil {
			return err
		}
		if state == run.Recording && x.What != run.FieldResult {
			return store.ErrStillRecording
		}
		if err := w.keepCorrection(n, store.Corrected{Change: x, Batch: c.Batch, At: run.Stamp(c.At), Who: c.Who, Why: c.Why, Undoes: c.Undoes}); err != nil {
			return err
		}
	}
	return w.writeTyped(n, before, &after, c.At, len(c.Results) > 0)
}

// keepCorrection notes a change, once.
func (w *runWriter) keepCorrection(n int64, x store.Corrected) error {
	_, err := w.exec(`INSERT INTO corrections (run, batch, at, who, why, undoes, what, name, old, new) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		n, x.Batch, x.At.String(), x.Who, x.Why, x.Undoes, string(x.What), x.Name, x.Old, x.New)
	return err
}

// writeTyped stores what of a run was corrected.
func (w *runWriter) writeTyped(n int64, before *run.Record, after *run.Run, at time.Time, resultGiven bool) error {
	if before.Labels != after.Labels || before.Note != after.Note {
		l := after.Labels
		if _, err := w.exec(`UPDATE runs SET device = ?, workload = ?, variant = ?, supply = ?, setting_w = ?, setting = ?, setting_source = ?, note = ? WHERE n = ?`,
			l.Device, l.Workload, string(l.Variant), string(l.Supply), watts(l.Setting.Setting), l.Setting.Name(), string(l.Setting.Source), after.Note, n); err != nil {
			return err
		}
	}
	if !maps.Equal(before.Facts, after.Facts) {
		set, _, err := w.factSet(after.Facts)
		if err != nil {
			return err
		}
		if _, err := w.exec(`UPDATE runs SET fact_set = ? WHERE n = ?`, set, n); err != nil {
			return err
		}
	}
	for _, name := range slices.Sorted(maps.Keys(after.Results)) {
		if before.Results[name] != after.Results[name] {
			if err := w.setResult(n, name, run.NewResult{Result: after.Results[name]}, at); err != nil {
				return err
			}
			resultGiven = true
		}
	}
	for _, name := range slices.Sorted(maps.Keys(before.Results)) {
		if _, stays := after.Results[name]; !stays {
			if err := w.removeResult(n, name, at); err != nil {
				return err
			}
		}
	}
	if resultGiven {
		return w.dropResultMissing(n)
	}
	return nil
}

// removeResult moves a result to the history.
func (w *runWriter) removeResult(n int64, name string, at time.Time) error {
	if _, err := w.exec(`INSERT INTO result_history SELECT run, name, value, unit, better, set_at, ? FROM results WHERE run = ? AND name = ?`,
		stampText(at), n, name); err != nil {
		return err
	}
	_, err := w.exec(`DELETE FROM results WHERE run = ? AND name = ?`, n, name)
	return err
}

// keep makes a rejected run what it was before, and an interrupted one a finished one.
func (w *runWriter) keep(n int64, state run.State, why string) error {
	switch state {
	case run.Rejected:
		return w.keepRejected(n)
	case run.Interrupted:
	default:
		return store.ErrNotRejected
	}
	var duration sql.NullFloat64
	var summaries bool
	err := w.tx.QueryRowContext(w.ctx, `SELECT duration_s, EXISTS (SELECT 1 FROM summaries WHERE run = n) FROM runs WHERE n = ?`, n).Scan(&duration, &summaries)
	if err != nil {
		return err
	}
	if !summaries && !(duration.Float64 > 0) {
		return run.ErrNoSweep
	}
	var known *float64
	if duration.Valid {
		known = &duration.Float64
	}
	f := run.KeptInterruptedFinding(known, why)
	if err := w.replaceFinding(n, f.Code, &f); err != nil {
		return err
	}
	_, err = w.exec(`UPDATE runs SET why = ?, state = 'finished' WHERE n = ?`, why, n)
	return err
}

// keepRejected makes a rejected run what it was before: where that is an interrupted one
// that was kept, with the reason of that. Of a run that was rejected elsewhere the
// rejection is noted, so that it can be brought back.
func (w *runWriter) keepRejected(n int64) error {
	stack, err := w.decisions(n)
	if err != nil {
		return err
	}
	if len(stack) == 0 || stack[len(stack)-1].what != run.Reject {
		var why string
		if err := w.tx.QueryRowContext(w.ctx, `SELECT why FROM runs WHERE n = ?`, n).Scan(&why); err != nil {
			return err
		}
		who := "user"
		if code, _, found := strings.Cut(why, ":"); found && slices.Contains(run.Codes(), code) {
			who = "finding"
		}
		if err := w.decide(n, time.Time{}, run.Reject, who, why); err != nil {
			return err
		}
	}
	if _, err := w.exec(`UPDATE runs SET why = '', state = state_before, state_before = '' WHERE n = ?`, n); err != nil {
		return err
	}
	for i, d := range slices.Backward(stack) {
		if d.what == run.Keep && d.ofInterrupted(stack[:i]) {
			_, err := w.exec(`UPDATE runs SET why = ? WHERE n = ? AND state = 'finished' AND EXISTS (SELECT 1 FROM findings WHERE run = n AND code = ?)`,
				d.why, n, string(run.KeptInterrupted))
			return err
		}
	}
	return nil
}

// unkeep undoes the last keeping, if nothing was decided since.
func (w *runWriter) unkeep(n int64, state run.State) error {
	stack, err := w.decisions(n)
	if err != nil {
		return err
	}
	if len(stack) == 0 || stack[len(stack)-1].what != run.Keep {
		return store.ErrNotKept
	}
	last := len(stack) - 1
	if stack[last].ofInterrupted(stack[:last]) {
		if err := w.replaceFinding(n, run.KeptInterrupted, nil); err != nil {
			return err
		}
		_, err := w.exec(`UPDATE runs SET why = '', state = 'interrupted' WHERE n = ?`, n)
		return err
	}
	_, err = w.exec(`UPDATE runs SET why = ?, state = 'rejected', state_before = ? WHERE n = ?`, stack[last-1].why, string(state), n)
	return err
}

// trim has the watts of a run be those up to a moment.
func (w *runWriter) trim(n int64, state run.State, c run.Correction) error {
	if state == run.Recording {
		return store.ErrStillRecording
	}
	if c.Decision == run.Untrim {
		var last string
		err := w.tx.QueryRowContext(w.ctx, `SELECT what FROM decisions WHERE run = ? AND what IN ('trim', 'untrim') ORDER BY rowid DESC LIMIT 1`, n).Scan(&last)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if last != string(run.Trim) {
			return store.ErrNotTrimmed
		}
	}
	var d run.Discharge
	if c.Trimming.Discharge != nil {
		d = *c.Trimming.Discharge
	}
	var whole any
	if !c.Trimming.Whole {
		if err := w.tx.QueryRowContext(w.ctx, `SELECT coalesce(whole_s, duration_s) FROM runs WHERE n = ?`, n).Scan(&whole); err != nil {
			return err
		}
	}
	_, err := w.exec(`UPDATE runs SET whole_s = ?, duration_s = ?, package_w = ?, system_w = ?, discharge_w = ?, discharge_uncertainty_w = ?,
		discharge_from_power_w = ?, discharge_from_energy_w = ? WHERE n = ?`, whole, c.Trimming.EndS, number(c.Trimming.PackageW), number(c.Trimming.SystemW),
		number(d.Watts), number(d.UncertaintyWatts), number(d.FromPowerWatts), number(d.FromEnergyWatts), n)
	return err
}

// decision is one that holds.
type decision struct {
	what run.Decision
	why  string
}

// ofInterrupted tells whether a keeping was of an interrupted run, and not of one that
// was rejected, by what had been decided before.
func (d decision) ofInterrupted(before []decision) bool {
	return len(before) == 0 || before[len(before)-1].what != run.Reject
}

// decisions are those about a run that were not undone, the oldest first.
func (w *runWriter) decisions(n int64) (stack []decision, err error) {
	err = each(w.ctx, w.tx, func(rows *sql.Rows) error {
		var d decision
		if err := rows.Scan((*string)(&d.what), &d.why); err != nil {
			return err
		}
		if d.what != run.Unkeep {
			stack = append(stack, d)
		} else if len(stack) > 0 {
			stack = stack[:len(stack)-1]
		}
		return nil
	}, `SELECT what, why FROM decisions WHERE run = ? AND what IN ('reject', 'keep', 'unkeep') ORDER BY rowid`, n)
	return stack, err
}

// replaceFinding puts f in the place of the findings of a kind; nil only takes them
// away.
func (w *runWriter) replaceFinding(n int64, code run.Code, f *run.Finding) error {
	if _, err := w.exec(`DELETE FROM findings WHERE run = ? AND code = ?`, n, string(code)); err != nil || f == nil {
		return err
	}
	return w.addFinding(n, *f)
}

// decide notes a decision.
func (w *runWriter) decide(n int64, at time.Time, what run.Decision, who, why string) error {
	_, err := w.exec(`INSERT INTO decisions VALUES (?, ?, ?, ?, ?)`, n, stampText(at), string(what), who, why)
	return err
}

// dropResultMissing takes the finding away from a run that has a result.
func (w *runWriter) dropResultMissing(n int64) error {
	_, err := w.exec(`DELETE FROM findings WHERE run = ?1 AND code = ?2 AND EXISTS (SELECT 1 FROM results WHERE run = ?1)`,
		n, string(run.ResultMissing))
	return err
}

// ended is when a run ended, or when it started where its duration is unknown.
func ended(r *run.Record) time.Time {
	if r.DurationS == nil || r.StartedAt.IsZero() {
		return r.StartedAt.Time
	}
	return r.StartedAt.Add(time.Duration(*r.DurationS * float64(time.Second)))
}

// Batches lists what was corrected together, see store.Corrector.
func (s *Store) Batches(ctx context.Context) ([]store.Batch, error) {
	list := []store.Batch{}
	if s.version < 3 {
		return list, nil
	}
	at := map[string]int{}
	err := each(ctx, s.read, func(rows *sql.Rows) error {
		var b store.Batch
		var when, id string
		if err := rows.Scan(&b.ID, &when, &b.Who, &b.Why, &b.Undoes, &id); err != nil {
			return err
		}
		i, known := at[b.ID]
		if !known {
			i = len(list)
			at[b.ID] = i
			b.At, _ = parseStamp(when) // where it is damaged, its runs say so
			list = append(list, b)
			if j, known := at[b.Undoes]; known {
				list[j].Undone = b.ID
			}
		}
		list[i].Runs = append(list[i].Runs, id)
		return nil
	}, `SELECT DISTINCT batch, c.at, who, c.why, undoes, id FROM corrections c JOIN runs ON n = run WHERE `+s.kept()+` ORDER BY c.at, batch, id`)
	return standing(list, at), s.fail("listing corrections of", err)
}

// standing takes out of Undone the batches that were taken back themselves.
func standing(list []store.Batch, at map[string]int) []store.Batch {
	for i := len(list) - 1; i >= 0; i-- { // who takes back comes after
		if j, known := at[list[i].Undone]; known && list[j].Undone != "" {
			list[i].Undone = ""
		}
	}
	return list
}
