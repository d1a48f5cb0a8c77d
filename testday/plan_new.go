package testday

import (
	"context"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"sweepd/internal/userfile"
	"sweepd/report/sentence"
	"sweepd/schedule"
	"sweepd/store"
)

// PlanRequest is what a person says of a new plan. What File says counts where the
// other fields say nothing.
type PlanRequest struct {
	schedule.Request
	EstimateRequest
	Seed *uint64   `json:"seed"` // nil: the file's, else a new one
	File *PlanFile `json:"file"` // nil for none
	// Replace lets the plan take the place of one that is not done yet.
	Replace bool `json:"replace"`
	// New says that names are meant as they are, also where they are probably slips of
	// ones that were seen (NamesError). Of those in Use, what was seen is meant.
	New bool        `json:"new"`
	Use []NameDoubt `json:"use"`
}

// PlanFile is a file that says what a plan is: YAML or, as IsPlanTable tells by its name,
// a plan in CSV.
type PlanFile struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// ReadPlanFile reads a file that a person names.
func ReadPlanFile(ctx context.Context, name string) (*PlanFile, error) {
	most := int64(userfile.Small)
	if IsPlanTable(name) {
		most = largestPlanTable
	}
	text, err := userfile.Read(ctx, name, most)
	return &PlanFile{name, string(text)}, err
}

// MakePlan makes a plan, which is in force from then on.
var MakePlan = &Operation[PlanRequest, PlanStatus]{
	About{Method: "POST", Path: "/plans", Summary: "Makes a plan: every cell once a pass, in random order.", Opens: OpensToWrite, Most: 2 * largestPlanTable},
	func(ctx context.Context, d *Day, q PlanRequest) (s PlanStatus, err error) {
		p, err := NewPlan(ctx, d.Store, q, d.Device, d.Now)
		if err != nil {
			return s, err
		}
		return p.Status("", d.Now), nil
	},
}

// ReplacesError is returned where a plan would take the place of one for the same
// devices that is not done yet.
type ReplacesError struct {
	Plan int64 `json:"plan"`
	Done int   `json:"done"` // runs
	Left int   `json:"left"`
}

func (e *ReplacesError) Error() string {
	return fmt.Sprintf("plan %d is in force, %s done, %d left", e.Plan, sentence.Counted(e.Done, "run"), e.Left)
}

// Kind is the error's kind, see Kinds.
func (e *ReplacesError) Kind() string { return "plan_in_force" }

// IsPlanTable tells whether a file is a plan in its own order, which says all that
// Cells and Seed do.
func IsPlanTable(file string) bool { return strings.EqualFold(filepath.Ext(file), ".csv") }

// NewPlan makes the plan and keeps it: it is in force from now on. device gives the name
// of this device, for a plan that names none.
func NewPlan(ctx context.Context, s Plans, q PlanRequest, device func() (string, error), now time.Time) (p Plan, err error) {
	if q.File != nil && IsPlanTable(q.File.Name) {
		p, err = q.read(ctx, s, now)
	} else {
		p, err = q.make(ctx, s, device, now)
	}
	if err != nil {
		return p, err
	}
	for _, d := range q.Use {
		p.Plan = d.InPlan(p.Plan)
	}
	if !q.New {
		doubts, err := NamedInPlan(p.Plan).doubted(ctx, s)
		if err == nil && len(doubts) > 0 {
			err = &NamesError{doubts}
		}
		if err != nil {
			return p, err
		}
	}
	if !q.Replace {
		if err := mayReplace(ctx, s, p.Devices(), now); err != nil {
			return p, err
		}
	}
	p.ID, err = s.NewPlan(ctx, p.Plan)
	return p, err
}

// largestPlanTable is far above a plan of as many runs as a plan may have, bytes.
const largestPlanTable = 64 << 20

// mayReplace tells why a new plan for some devices needs a word: another is not done.
func mayReplace(ctx context.Context, s Plans, devices []string, now time.Time) error {
	old, err := readPlan(ctx, s, devices...)
	switch {
	case errors.Is(err, store.ErrNoPlan):
		return nil
	case err != nil:
		return err
	}
	if g := old.Progress("", now); g.Left > 0 {
		return &ReplacesError{old.ID, g.Done, g.Left}
	}
	return nil
}

// read reads a plan in CSV.
func (q PlanRequest) read(ctx context.Context, s Plans, now time.Time) (p Plan, err error) {
	said, err := q.override(schedule.Estimates{})
	if err != nil {
		return p, err
	}
	if p.Estimates, err = estimates(ctx, s, said); err != nil {
		return p, err
	}
	p.Plan, err = schedule.ReadCSV(strings.NewReader(q.File.Text), q.File.Name, p.Estimates, now)
	p.UserEstimates = said
	return p, err
}

// make makes a plan of cells.
func (q PlanRequest) make(ctx context.Context, s Plans, name func() (string, error), now time.Time) (p Plan, err error) {
	if err := q.Request.Check(); err != nil {
		return p, requestError(err)
	}
	cells, said, seeded, err := q.readFile()
	if err != nil {
		return p, err
	}
	if said, err = q.override(said); err != nil {
		return p, err
	}
	if p.Estimates, err = estimates(ctx, s, said); err != nil {
		return p, err
	}
	if cells = overrideCells(cells, q.Request); len(cells.Devices) == 0 {
		device, err := name()
		if err != nil {
			return p, err
		}
		cells.Devices = []string{device}
	}
	switch {
	case q.Seed != nil:
		cells.Seed = *q.Seed
	case !seeded:
		cells.Seed = randomSeed()
	}
	if p.Plan, err = schedule.NewPlan(cells, p.Estimates, now); q.File == nil {
		err = requestError(err) // nothing else can be wrong
	}
	p.UserEstimates = said
	return p, err
}

func (q PlanRequest) readFile() (cells schedule.Request, said schedule.Estimates, seeded bool, err error) {
	if q.File == nil {
		return cells, said, false, nil
	}
	return schedule.ReadRequest(strings.NewReader(q.File.Text), q.File.Name)
}

// overrideCells is q with what is said in its place.
func overrideCells(q, said schedule.Request) schedule.Request {
	for _, x := range []struct{ to, from *[]string }{
		{&q.Devices, &said.Devices}, {&q.Workloads, &said.Workloads}, {&q.Settings, &said.Settings},
		{&q.Supplies, &said.Supplies}, {&q.Variants, &said.Variants}, {&q.Hard, &said.Hard},
	} {
		if len(*x.from) > 0 {
			*x.to = *x.from
		}
	}
	if said.Repeats != 0 {
		q.Repeats = said.Repeats
	}
	return q
}

// randomSeed is short enough to be typed again.
func randomSeed() uint64 {
	var b [4]byte
	_, _ = rand.Read(b[:]) // it never fails
	return uint64(binary.LittleEndian.Uint32(b[:]))
}

// EstimateRequest is what a person says of runs and batteries; zero says nothing.
type EstimateRequest struct {
	RunTime    string   `json:"run_time"` // such as "5m"
	Pause      string   `json:"pause"`
	FullEnergy []string `json:"full_energy"`  // of a device, or of all, see ParseFullEnergy
	Reserve    *float64 `json:"reserve"`      // charge that runs on battery leave, 0 to 1
	ChargeW    float64  `json:"charge_power"` // that fills the battery while runs on mains go on, W
}

// override is e with what is said in its place.
func (q EstimateRequest) override(e schedule.Estimates) (schedule.Estimates, error) {
	if q.RunTime != "" {
		d, err := schedule.ParseDuration(q.RunTime)
		if err != nil {
			return e, requestError(fmt.Errorf("--run-time %w", err))
		}
		e.RunDuration = map[string]time.Duration{"": d}
	}
	if q.Pause != "" {
		d, err := schedule.ParseDuration(q.Pause)
		if err != nil {
			return e, requestError(fmt.Errorf("--pause %w", err))
		}
		e.Pause = d
	}
	full, err := ParseFullEnergies(q.FullEnergy)
	if err != nil {
		return e, err
	}
	all := e.Batteries[""]
	if q.Reserve != nil {
		all.Reserve = *q.Reserve
	}
	if q.ChargeW != 0 {
		all.ChargeW = q.ChargeW
	}
	batteries := map[string]schedule.Battery{}
	for _, x := range full {
		b := all
		b.FullWh = x.Wh
		if x.Device == "" {
			all = b
			continue
		}
		batteries[x.Device] = b
	}
	if err := all.Check(); err != nil {
		return e, requestError(err)
	}
	if all != (schedule.Battery{}) {
		batteries[""] = all
	}
	e.Batteries = batteries
	return e, nil
}
