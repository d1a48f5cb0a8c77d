package sqlite

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"maps"
	"slices"
	"time"

	"sweepd/run"
)

// runWriter changes runs inside one transaction. It prepares each statement once and
// remembers sensors and fact sets.
type runWriter struct {
	ctx        context.Context
	tx         *sql.Tx
	statements map[string]*sql.Stmt
	sensors    map[sensorName]int64
	factSets   map[[16]byte]storedFacts
}

// storedFacts is a set of facts that is stored, and its checksum.
type storedFacts struct {
	id  int64
	sum uint32
}

type sensorName struct{ sensor, instance, unit string }

func newRunWriter(ctx context.Context, tx *sql.Tx) *runWriter {
	return &runWriter{
		ctx: ctx, tx: tx,
		statements: map[string]*sql.Stmt{}, sensors: map[sensorName]int64{}, factSets: map[[16]byte]storedFacts{},
	}
}

// exec runs a statement that is prepared once; the transaction's end closes it.
func (w *runWriter) exec(query string, args ...any) (sql.Result, error) {
	stmt := w.statements[query]
	if stmt == nil {
		var err error
		if stmt, err = w.tx.PrepareContext(w.ctx, query); err != nil {
			return nil, err
		}
		w.statements[query] = stmt
	}
	return stmt.ExecContext(w.ctx, args...)
}

// replaceParts stores findings and summaries in place of those from the start.
func (w *runWriter) replaceParts(n int64, r *run.Record) error {
	for _, table := range []string{"findings", "summaries"} {
		if _, err := w.exec("DELETE FROM "+table+" WHERE run = ?", n); err != nil {
			return err
		}
	}
	return w.addParts(n, r)
}

// addParts stores findings and summaries.
func (w *runWriter) addParts(n int64, r *run.Record) error {
	for _, f := range r.Findings {
		if err := w.addFinding(n, f); err != nil {
			return err
		}
	}
	for i := range r.Summaries {
		x := &r.Summaries[i]
		id, err := w.sensor(sensorName{x.Sensor, x.Instance, x.Unit})
		if err != nil {
			return err
		}
		if _, err := w.exec(`INSERT INTO summaries VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, append([]any{n, i, id}, summaryNumbers(x)...)...); err != nil {
			return err
		}
	}
	return nil
}

// summaryNumbers are the numbers of a summary in the order of their columns. The last
// is newer than checksums, see addNewer.
func summaryNumbers(x *run.Summary) []any {
	return []any{number(x.Mean), number(x.Min), number(x.Max), number(x.P95), number(x.First), number(x.Last), number(x.EnergyJoules), number(x.SteadyMean),
		number(x.LoadMean)}
}

// findingValues is a finding in the order of its columns.
func findingValues(f run.Finding) []any {
	return []any{string(f.Code), string(f.Severity), f.Text, stampText(f.At)}
}

// addFinding stores a finding after those that the run has.
func (w *runWriter) addFinding(n int64, f run.Finding) error {
	_, err := w.exec(`INSERT INTO findings (run, position, code, severity, text, at)
		SELECT ?1, coalesce(max(position) + 1, 0), ?2, ?3, ?4, ?5 FROM findings WHERE run = ?1`,
		append([]any{n}, findingValues(f)...)...)
	return err
}

// setResult stores a result and moves one that it replaces to the history.
func (w *runWriter) setResult(n int64, name string, r run.NewResult, at time.Time) error {
	var old run.Result
	err := w.tx.QueryRowContext(w.ctx, `SELECT value, unit, better FROM results WHERE run = ? AND name = ?`, n, name).
		Scan(&old.Value, &old.Unit, (*string)(&old.Better))
	switch {
	case errors.Is(err, sql.ErrNoRows):
		_, err := w.exec(`INSERT INTO results VALUES (?, ?, ?, ?, ?, ?)`, n, name, r.Value, r.Unit, string(r.Better), stampText(at))
		return err
	case err != nil:
		return err
	}
	if r.KeepBetter {
		r.Better = old.Better
	}
	if r.Result == old {
		return nil
	}
	if _, err := w.exec(`INSERT INTO result_history SELECT run, name, value, unit, better, set_at, ? FROM results WHERE run = ? AND name = ?`,
		stampText(at), n, name); err != nil {
		return err
	}
	_, err = w.exec(`UPDATE results SET value = ?, unit = ?, better = ?, set_at = ? WHERE run = ? AND name = ?`,
		r.Value, r.Unit, string(r.Better), stampText(at), n, name)
	return err
}

// sensor finds any sensor of that name, or adds one of which nothing else is
// known.
func (w *runWriter) sensor(name sensorName) (int64, error) {
	if id := w.sensors[name]; id != 0 {
		return id, nil
	}
	var id int64
	err := w.tx.QueryRowContext(w.ctx, `SELECT id FROM sensors WHERE sensor = ? AND instance = ? AND unit = ? LIMIT 1`,
		name.sensor, name.instance, name.unit).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		var r sql.Result
		if r, err = w.exec(`INSERT INTO sensors (sensor, instance, unit, kind, source, resolution) VALUES (?, ?, ?, 'gauge', '', 0)`,
			name.sensor, name.instance, name.unit); err == nil {
			id, err = r.LastInsertId()
		}
	}
	w.sensors[name] = id
	return id, err
}

// factSet finds or adds the set of these facts; nil where there are none. sum is their
// checksum.
func (w *runWriter) factSet(facts map[string]string) (id any, sum uint32, err error) {
	if len(facts) == 0 {
		return nil, 0, nil
	}
	names := slices.Sorted(maps.Keys(facts))
	hash := sha256.New()
	for _, name := range names {
		hash.Write([]byte(name + "\x00" + facts[name] + "\x00"))
	}
	digest := [16]byte(hash.Sum(nil))
	set, known := w.factSets[digest]
	if known {
		return set.id, set.sum, nil
	}
	err = w.tx.QueryRowContext(w.ctx, `SELECT id FROM fact_sets WHERE digest = ?`, digest[:]).Scan(&set.id)
	if errors.Is(err, sql.ErrNoRows) {
		set.id, err = w.addFactSet(digest, names, facts)
	}
	if err != nil {
		return nil, 0, err
	}
	var s summer
	for _, name := range names {
		set.sum = s.add(set.sum, name, facts[name])
	}
	w.factSets[digest] = set
	return set.id, set.sum, nil
}

func (w *runWriter) addFactSet(digest [16]byte, names []string, facts map[string]string) (int64, error) {
	r, err := w.exec(`INSERT INTO fact_sets (digest) VALUES (?)`, digest[:])
	if err != nil {
		return 0, err
	}
	id, err := r.LastInsertId()
	if err != nil {
		return 0, err
	}
	for _, name := range names {
		if _, err := w.exec(`INSERT INTO facts VALUES (?, ?, ?)`, id, name, facts[name]); err != nil {
			return 0, err
		}
	}
	return id, nil
}
