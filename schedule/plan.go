package schedule

import (
	"math/rand/v2"
	"slices"

	"sweepd/run"
)

// Plan is the runs of a test day in the order in which to do them.
type Plan struct {
	ID        int64         `json:"id"` // given by the store
	CreatedAt run.Timestamp `json:"created_at"`
	Seed      uint64        `json:"seed"`
	Hard      []string      `json:"hard"` // keys of the variant that are hard to change, hardest first
	Slots     []Slot        `json:"slots"`
	// UserEstimates are those that the user gave with the plan; what is learnt besides
	// from runs changes from day to day.
	UserEstimates Estimates `json:"-"`
}

// Slot is a cell to be run once.
type Slot struct {
	run.Cell
	Pass int `json:"pass"` // from 1
	// NeedsCharge is the charge that the battery needs before a run on battery, 0
	// to 1: for the whole stretch in its first slot, else for the run alone. Nil on
	// mains, and where the battery's energy is unknown.
	NeedsCharge *float64 `json:"needs_charge"`
	// WaitS is the time that the battery is expected to need for charging before
	// this run, beyond what it gets from runs on mains, s.
	WaitS float64 `json:"wait_s"`
}

// passes is the number of the last pass.
func (p *Plan) passes() int {
	n := 0
	for _, s := range p.Slots {
		n = max(n, s.Pass)
	}
	return n
}

// addPass appends one pass over the cells, level by level, in random order within each.
// The order of levels is the reverse of the pass before, so that no level is always the
// first: what drifts within a pass then favours none of them.
func (p *Plan) addPass(cells []run.Cell, e Estimates) {
	pass := p.passes() + 1
	levels := p.nextLevels(cells)
	random := rand.New(rand.NewPCG(p.Seed, uint64(pass)))
	byLevel := map[string][]run.Cell{}
	for _, c := range cells {
		key := levelKey(c, p.Hard)
		byLevel[key] = append(byLevel[key], c)
	}
	var stretches [][]run.Cell
	for _, key := range levels {
		list := slices.Clone(byLevel[key])
		random.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
		if len(list) > 0 {
			stretches = append(stretches, list)
		}
	}
	for _, stretch := range e.orderForCharging(stretches, p.Hard) {
		for _, c := range stretch {
			p.Slots = append(p.Slots, Slot{Cell: c, Pass: pass})
		}
	}
}

// Extend appends passes over some cells of a plan, with repeats[i] more runs of cells[i],
// ordered as if the plan had been made with them from the start. It stops before a plan
// becomes too long, and returns the number of slots added.
func (p *Plan) Extend(cells []run.Cell, repeats []int, e Estimates) (added int) {
	before := len(p.Slots)
	for round := 1; ; round++ {
		var some []run.Cell
		for i, c := range cells {
			if repeats[i] >= round {
				some = append(some, c)
			}
		}
		if len(some) == 0 || len(p.Slots)+len(some) > maxSlots {
			p.planCharging(e)
			return len(p.Slots) - before
		}
		p.addPass(some, e)
	}
}

// Cells are the cells of the plan, each once, in the order of the first pass.
func (p *Plan) Cells() []run.Cell {
	var list []run.Cell
	seen := map[run.Cell]bool{}
	for _, s := range p.Slots {
		if !seen[s.Cell] {
			seen[s.Cell] = true
			list = append(list, s.Cell)
		}
	}
	return list
}

// Devices are those of the plan, in the order of its slots.
func (p *Plan) Devices() []string {
	var list []string
	for _, s := range p.Slots {
		if !slices.Contains(list, s.Device) {
			list = append(list, s.Device)
		}
	}
	return list
}
