package schedule

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"sweepd/run"
)

// Request is what a user asks of the plan of a test day. Devices, Workloads and Settings
// are required.
type Request struct {
	Devices   []string `json:"devices"`
	Workloads []string `json:"workloads"`
	// Settings are settings or ranges with a step, see ParseSettings.
	Settings []string `json:"settings"`
	// Supplies are mains and battery where it is empty.
	Supplies []string `json:"supplies"`
	// Variants are k=v pairs joined by commas, in any order; "" for no variant, which is
	// the only one where it is empty.
	Variants []string `json:"variants"`
	// Hard names the keys of the variant that are hard to change, hardest first,
	// such as cores through the firmware. The supply always is, and so is the
	// device.
	Hard []string `json:"hard"`
	// Repeats is how many passes there are, 1 to 100; 0 means 3.
	Repeats int `json:"repeats"`
	// Seed of the random order. The same request with the same seed and the same
	// estimates gives the same plan.
	Seed uint64 `json:"-"`
}

// Limits and defaults of a Request.
const (
	DefaultRepeats = 3
	maxRepeats     = 100
	maxSlots       = 20000
)

// cells are all combinations of the request, in the order in which it names them.
func (q Request) cells() ([]run.Cell, error) {
	settings, err := q.settings()
	if err != nil {
		return nil, err
	}
	variants, err := q.variants()
	if err != nil {
		return nil, err
	}
	for _, need := range []struct {
		what, how string
		n         int
	}{{"devices", "--device NAME", len(q.Devices)}, {"workloads", "--workload NAME", len(q.Workloads)}, {"settings", "--settings 8-28/4", len(settings)}} {
		if need.n == 0 {
			return nil, fmt.Errorf("a plan needs %s: name them (%s, or in its file)", need.what, need.how)
		}
	}
	supplies := q.Supplies
	if len(supplies) == 0 {
		supplies = []string{string(run.Mains), string(run.Battery)}
	}
	var list []run.Cell
	seen := map[run.Cell]bool{}
	for _, device := range q.Devices {
		for _, v := range variants {
			for _, supply := range supplies {
				for _, workload := range q.Workloads {
					for _, s := range settings {
						c := run.Cell{Device: device, Workload: workload, Setting: s, Supply: run.Supply(supply), Variant: v}
						if err := c.Check(); err != nil {
							return nil, err
						}
						if seen[c] {
							return nil, fmt.Errorf("the cell %s is named twice", c)
						}
						seen[c] = true
						list = append(list, c)
					}
				}
			}
		}
	}
	return list, nil
}

// Check tells which of its values mean nothing, whatever else is left open.
func (q Request) Check() error {
	_, err := q.settings()
	errs := []error{err}
	_, err = parseVariants(q.Variants)
	errs = append(errs, err)
	for _, supply := range q.Supplies {
		errs = append(errs, run.CheckSupply(supply))
	}
	for _, device := range q.Devices {
		errs = append(errs, run.CheckLabel("device", device))
	}
	for _, workload := range q.Workloads {
		errs = append(errs, run.CheckLabel("workload", workload))
	}
	_, err = q.repeats()
	return errors.Join(append(errs, err)...)
}

func (q Request) settings() (list []run.Setting, err error) {
	for _, text := range q.Settings {
		some, err := ParseSettings(text)
		if err != nil {
			return nil, err
		}
		for _, s := range some {
			if !slices.Contains(list, s) {
				list = append(list, s)
			}
		}
	}
	return list, nil
}

func (q Request) variants() ([]run.Variant, error) {
	list, err := parseVariants(q.Variants)
	if err != nil {
		return nil, err
	}
	for _, key := range q.Hard {
		if !slices.ContainsFunc(list, func(v run.Variant) bool { _, has := v.Get(key); return has }) {
			return nil, fmt.Errorf("hard to change is said to be %q, but no variant has it: name its levels, such as %[1]s=6 and %[1]s=12", key)
		}
	}
	if len(list) == 0 {
		list = []run.Variant{""}
	}
	return list, nil
}

func parseVariants(texts []string) (list []run.Variant, err error) {
	for _, text := range texts {
		v, err := run.ParseVariant(text)
		if err != nil {
			return nil, err
		}
		list = append(list, v)
	}
	return list, nil
}

func (q Request) repeats() (int, error) {
	n := q.Repeats
	if n == 0 {
		n = DefaultRepeats
	}
	return n, CheckRepeats(n)
}

// CheckRepeats tells why a plan cannot have as many passes.
func CheckRepeats(n int) error {
	if n < 1 || n > maxRepeats {
		return fmt.Errorf("%d repeats: want 1 to %d", n, maxRepeats)
	}
	return nil
}

// NewPlan makes the plan that a request asks for.
func NewPlan(q Request, e Estimates, now time.Time) (Plan, error) {
	cells, err := q.cells()
	if err != nil {
		return Plan{}, err
	}
	repeats, err := q.repeats()
	if err != nil {
		return Plan{}, err
	}
	if n := len(cells) * repeats; n > maxSlots {
		return Plan{}, fmt.Errorf("%d cells in %d passes are %d runs: at most %d are allowed", len(cells), repeats, n, maxSlots)
	}
	p := Plan{CreatedAt: run.Stamp(now), Seed: q.Seed, Hard: slices.Clone(q.Hard), Slots: []Slot{}}
	for range repeats {
		p.addPass(cells, e)
	}
	p.planCharging(e)
	return p, nil
}
