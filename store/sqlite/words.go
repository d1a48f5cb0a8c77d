package sqlite

import (
	"context"
	"database/sql"
	"slices"

	"sweepd/run"
	"sweepd/store"
)

// Words are the names that were seen, see store.Runs.
func (s *Store) Words(ctx context.Context) (w store.Words, err error) {
	add := func(list *[]string, word string) {
		if word != "" && !slices.Contains(*list, word) {
			*list = append(*list, word)
		}
	}
	err = each(ctx, s.read, func(rows *sql.Rows) error {
		var device, workload, setting, variant string
		err := rows.Scan(&device, &workload, &setting, &variant)
		add(&w.Devices, device)
		add(&w.Workloads, workload)
		add(&w.Settings, setting)
		if v := run.Variant(variant); v != "" && !slices.Contains(w.Variants, v) {
			w.Variants = append(w.Variants, v)
		}
		return err
	}, `SELECT device, workload, setting, variant FROM runs WHERE `+s.kept()+`
		UNION SELECT device, workload, setting, variant FROM plan_slots ORDER BY 1, 2, 3, 4`)
	if err == nil {
		err = each(ctx, s.read, func(rows *sql.Rows) error {
			var r store.ResultWord
			err := rows.Scan(&r.Name, &r.Unit, &r.Runs)
			w.Results = append(w.Results, r)
			return err
		}, `SELECT name, unit, count(*) FROM results WHERE run IN (SELECT n FROM runs WHERE `+s.kept()+`) GROUP BY name, unit ORDER BY count(*) DESC, name, unit`)
	}
	return w, s.fail("reading the names of", err)
}
