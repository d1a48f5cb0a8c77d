package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"sweepd/schedule"
)

// ErrNoPlan is returned where no plan was made yet.
var ErrNoPlan = errors.New("there is no plan: make one with `sweepd plan new`")

// NewPlan keeps a plan, which is in force from then on. It returns the plan's id.
func (s *Store) NewPlan(ctx context.Context, p schedule.Plan) (id int64, err error) {
	err = s.commit(ctx, true, func(tx *sql.Tx) error {
		said, err := json.Marshal(toSaid(p.Said))
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
		return insertSlots(ctx, tx, id, p.Slots)
	})
	return id, s.fail("storing a plan in", err)
}

// ExtendPlan keeps what was appended to the plan in force. It refuses if that is
// another one or was changed meanwhile: p then has to be read anew. before is how
// many slots it had.
func (s *Store) ExtendPlan(ctx context.Context, p schedule.Plan, before int) error {
	return s.fail("extending the plan in", s.commit(ctx, true, func(tx *sql.Tx) error {
		var latest, slots int64
		err := tx.QueryRowContext(ctx, `SELECT (SELECT max(id) FROM plans), (SELECT count(*) FROM plan_slots WHERE plan = ?)`, p.ID).Scan(&latest, &slots)
		if err != nil {
			return err
		}
		if latest != p.ID || slots != int64(before) {
			return fmt.Errorf("plan %d was changed meanwhile: try again", p.ID)
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM plan_slots WHERE plan = ?`, p.ID); err != nil {
			return err
		}
		return insertSlots(ctx, tx, p.ID, p.Slots)
	}))
}

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

// Plan is the one in force. ErrNoPlan where there is none.
func (s *Store) Plan(ctx context.Context) (schedule.Plan, error) {
	p, err := s.plan(ctx)
	if errors.Is(err, ErrNoPlan) {
		return p, err
	}
	return p, s.fail("reading the plan of", err)
}

func (s *Store) plan(ctx context.Context) (p schedule.Plan, err error) {
	tx, err := s.read.BeginTx(ctx, nil) // plan and slots as of one moment
	if err != nil {
		return p, err
	}
	defer tx.Rollback()
	var created, seed, hard, said string
	err = tx.QueryRowContext(ctx, `SELECT id, created_at, seed, hard, said FROM plans ORDER BY id DESC LIMIT 1`).Scan(&p.ID, &created, &seed, &hard, &said)
	if errors.Is(err, sql.ErrNoRows) {
		return p, ErrNoPlan
	}
	if err != nil {
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
		return p, fmt.Errorf("what was said of plan %d: %w", p.ID, err)
	}
	p.Said = terms.estimates()
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
		FROM plan_slots WHERE plan = ? ORDER BY position`, p.ID)
}

// planSaid is what the user said of runs and batteries, as it is stored.
type planSaid struct {
	RunS      map[string]float64     `json:"run_s,omitempty"`
	PauseS    float64                `json:"pause_s,omitempty"`
	Batteries map[string]planBattery `json:"batteries,omitempty"`
}

type planBattery struct {
	FullWh  float64 `json:"full_wh,omitempty"`
	Reserve float64 `json:"reserve,omitempty"`
	ChargeW float64 `json:"charge_w,omitempty"`
}

func toSaid(e schedule.Estimates) planSaid {
	x := planSaid{RunS: map[string]float64{}, PauseS: e.Pause.Seconds(), Batteries: map[string]planBattery{}}
	for workload, d := range e.Run {
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
		if e.Run == nil {
			e.Run = map[string]time.Duration{}
		}
		e.Run[workload] = seconds(s)
	}
	for device, b := range x.Batteries {
		if e.Batteries == nil {
			e.Batteries = map[string]schedule.Battery{}
		}
		e.Batteries[device] = schedule.Battery(b)
	}
	return e
}
