package sqlite

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"sweepd/schedule"
	"sweepd/store"
)

// NewPlan keeps a plan, which is in force from then on, see store.Plans. One that is taken
// up again gets another row, since the newest row is in force; what was said with it names
// the plan.
func (s *Store) NewPlan(ctx context.Context, p schedule.Plan) (id int64, err error) {
	err = s.commit(ctx, true, func(tx *sql.Tx) error {
		said, err := json.Marshal(toSaid(p.UserEstimates, p.ID))
		if err != nil {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO plans (created_at, seed, hard, said) VALUES (?, ?, ?, ?)`,
			p.CreatedAt.String(), strconv.FormatUint(p.Seed, 10), strings.Join(p.Hard, ","), string(said))
		if err != nil {
			return err
		}
		if id, err = r.LastInsertId(); err != nil {
			return err
		}
		if err := insertSlots(ctx, tx, id, p.Slots); err != nil {
			return err
		}
		return sealPlan(ctx, tx, id)
	})
	return cmp.Or(p.ID, id), s.fail("storing a plan in", err)
}

// ExtendPlan keeps what was appended to a plan, see store.Plans.
func (s *Store) ExtendPlan(ctx context.Context, p schedule.Plan, before int, devices ...string) error {
	return s.fail("extending the plan in", s.commit(ctx, true, func(tx *sql.Tx) error {
		row, err := latestPlan(ctx, tx, Version, devices)
		if err != nil {
			return err
		}
		latest, err := planOf(ctx, tx, row)
		if err != nil {
			return err
		}
		if latest.ID != p.ID || len(latest.Slots) != before {
			return fmt.Errorf("plan %d was changed meanwhile: try again", p.ID)
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM plan_slots WHERE plan = ?`, row); err != nil {
			return err
		}
		if err := insertSlots(ctx, tx, row, p.Slots); err != nil {
			return err
		}
		return sealPlan(ctx, tx, row)
	}))
}

// insertSlots stores the slots of a plan, which has none.
func insertSlots(ctx context.Context, tx *sql.Tx, plan int64, slots []schedule.Slot) error {
	insert, err := tx.PrepareContext(ctx, `INSERT INTO plan_slots VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`)
	if err != nil {
		return err
	}
	defer insert.Close()
	for i, x := range slots {
		if _, err := insert.ExecContext(ctx, plan, i+1, x.Pass, x.Device, x.Workload, string(x.Variant), string(x.Supply),
			watts(x.Setting), x.Setting.Name(), x.NeedsCharge, x.WaitS); err != nil {
			return fmt.Errorf("slot %d: %w", i+1, err)
		}
	}
	return nil
}

// RenameInPlans gives a device another name in all plans, see store.Plans.
func (s *Store) RenameInPlans(ctx context.Context, old, name string, dryRun bool) (plans int, err error) {
	return plans, s.fail("renaming a device in plans of", s.commit(ctx, true, func(tx *sql.Tx) error {
		rows, err := numbers(ctx, tx, `SELECT DISTINCT plan FROM plan_slots WHERE device = ? ORDER BY plan`, old)
		renamed := map[int64]bool{}
		for _, row := range rows {
			p, err := planOf(ctx, tx, row)
			if err == nil && !dryRun {
				err = renameInPlan(ctx, tx, row, p, old, name)
			}
			if err != nil {
				return err
			}
			renamed[p.ID] = true
		}
		plans = len(renamed)
		return err
	}))
}

// renameInPlan changes the row of a plan.
func renameInPlan(ctx context.Context, tx *sql.Tx, id int64, p schedule.Plan, old, name string) error {
	if err := checkPlan(ctx, tx, id); err != nil {
		return err
	}
	said := toSaid(p.UserEstimates, p.ID)
	if b, there := said.Batteries[old]; there {
		delete(said.Batteries, old)
		said.Batteries[name] = b
	}
	text, err := json.Marshal(said)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `UPDATE plan_slots SET device = ? WHERE plan = ? AND device = ?`, name, id, old); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `UPDATE plans SET said = ? WHERE id = ?`, string(text), id); err != nil {
		return err
	}
	return sealPlan(ctx, tx, id)
}

// Plan is the one in force, see store.Plans.
func (s *Store) Plan(ctx context.Context, devices ...string) (schedule.Plan, error) {
	var p schedule.Plan
	err := inTx(ctx, s.read, func(tx *sql.Tx) (err error) {
		id, err := latestPlan(ctx, tx, s.version, devices)
		if err != nil {
			return err
		}
		p, err = planOf(ctx, tx, id)
		return err
	})
	if errors.Is(err, store.ErrNoPlan) {
		return p, store.ErrNoPlan
	}
	return p, s.fail("reading the plan of", err)
}

// AllPlans are those ever made, see store.Plans.
func (s *Store) AllPlans(ctx context.Context) (list []schedule.Plan, err error) {
	err = inTx(ctx, s.read, func(tx *sql.Tx) error {
		rows, err := numbers(ctx, tx, `SELECT id FROM plans ORDER BY id`)
		if err != nil {
			return err
		}
		for _, row := range rows {
			if s.version >= 2 {
				if err := checkPlan(ctx, tx, row); err != nil {
					return err
				}
			}
			p, err := planOf(ctx, tx, row)
			if err != nil {
				return err
			}
			if i := slices.IndexFunc(list, func(x schedule.Plan) bool { return x.ID == p.ID }); i >= 0 {
				list[i] = p
			} else {
				list = append(list, p)
			}
		}
		return nil
	})
	return list, s.fail("reading the plans of", err)
}

// planOf is the plan of a row.
func planOf(ctx context.Context, tx *sql.Tx, row int64) (p schedule.Plan, err error) {
	var created, seed, hard, said string
	if err := tx.QueryRowContext(ctx, `SELECT created_at, seed, hard, said FROM plans WHERE id = ?`, row).Scan(&created, &seed, &hard, &said); err != nil {
		return p, err
	}
	if p.CreatedAt, err = parseStamp(created); err != nil {
		return p, err
	}
	if p.Seed, err = strconv.ParseUint(seed, 10, 64); err != nil {
		return p, err
	}
	var terms planSaid
	if err := json.Unmarshal([]byte(said), &terms); err != nil {
		return p, fmt.Errorf("what was said of plan %d: %w", row, err)
	}
	p.ID = cmp.Or(terms.TakenUp, row)
	p.UserEstimates = terms.estimates()
	p.Hard, p.Slots = []string{}, []schedule.Slot{}
	if hard != "" {
		p.Hard = strings.Split(hard, ",")
	}
	return p, each(ctx, tx, func(rows *sql.Rows) error {
		var x schedule.Slot
		var watts *float64
		var name string
		if err := rows.Scan(&x.Pass, &x.Device, &x.Workload, (*string)(&x.Variant), (*string)(&x.Supply), &watts, &name, &x.NeedsCharge, &x.WaitS); err != nil {
			return err
		}
		x.Setting = setting(watts, name)
		p.Slots = append(p.Slots, x)
		return nil
	}, `SELECT pass, device, workload, variant, supply, setting_w, setting, needs_charge_ratio, wait_s
		FROM plan_slots WHERE plan = ? ORDER BY position`, row)
}

// latestPlan is the newest row of a plan with a slot for any of the devices, or of all.
func latestPlan(ctx context.Context, tx *sql.Tx, version int, devices []string) (id int64, err error) {
	query, args := `SELECT max(id) FROM plans`, []any{}
	if len(devices) > 0 {
		query = `SELECT max(plan) FROM plan_slots WHERE device IN (?` + strings.Repeat(", ?", len(devices)-1) + `)`
	}
	for _, d := range devices {
		args = append(args, d)
	}
	var latest sql.NullInt64
	if err := tx.QueryRowContext(ctx, query, args...).Scan(&latest); err != nil {
		return 0, err
	}
	// A newer one that is damaged may have been for any device.
	if version >= 2 {
		newer, err := plansFrom(ctx, tx, latest.Int64)
		if err != nil {
			return 0, err
		}
		for _, id := range newer {
			if err := checkPlan(ctx, tx, id); err != nil {
				return 0, err
			}
		}
	}
	if !latest.Valid {
		return 0, store.ErrNoPlan
	}
	return latest.Int64, nil
}

// planSaid is what the user said of runs and batteries, as it is stored.
type planSaid struct {
	RunS      map[string]float64     `json:"run_s,omitempty"`
	PauseS    float64                `json:"pause_s,omitempty"`
	Batteries map[string]planBattery `json:"batteries,omitempty"`
	// TakenUp is the id of the plan that the row has again; 0: the row is the first of its plan.
	TakenUp int64 `json:"taken_up,omitempty"`
}

type planBattery struct {
	FullWh  float64 `json:"full_wh,omitempty"`
	Reserve float64 `json:"reserve,omitempty"`
	ChargeW float64 `json:"charge_w,omitempty"`
}

func toSaid(e schedule.Estimates, takenUp int64) planSaid {
	x := planSaid{RunS: map[string]float64{}, PauseS: e.Pause.Seconds(), Batteries: map[string]planBattery{}, TakenUp: takenUp}
	for workload, d := range e.RunDuration {
		x.RunS[workload] = d.Seconds()
	}
	for device, b := range e.Batteries {
		x.Batteries[device] = planBattery(b)
	}
	return x
}

func (x planSaid) estimates() (e schedule.Estimates) {
	seconds := func(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
	e.Pause = seconds(x.PauseS)
	for workload, s := range x.RunS {
		if e.RunDuration == nil {
			e.RunDuration = map[string]time.Duration{}
		}
		e.RunDuration[workload] = seconds(s)
	}
	for device, b := range x.Batteries {
		if e.Batteries == nil {
			e.Batteries = map[string]schedule.Battery{}
		}
		e.Batteries[device] = schedule.Battery(b)
	}
	return e
}
