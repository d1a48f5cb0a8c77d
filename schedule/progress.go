package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"sweepd/run"
)

// SlotState is where a slot of a plan stands.
type SlotState string

const (
	Open      SlotState = "open"      // not tried yet
	Recording SlotState = "recording" // its run is in progress
	Done      SlotState = "done"
	Repeat    SlotState = "repeat" // tried, but its run does not count
)

// Attempt is a run that does not count for its slot.
type Attempt struct {
	Run string `json:"run"`
	Why string `json:"why"`
}

// SlotProgress is a slot with what became of it.
type SlotProgress struct {
	Slot
	Position int       `json:"position"` // in the plan, from 1
	State    SlotState `json:"state"`
	Run      string    `json:"run"` // that counts, or is recording; "" for none
	Attempts []Attempt `json:"tries"`
}

// Progress is how far a plan has come. Done + Left is the number of slots.
type Progress struct {
	Slots    []SlotProgress `json:"slots"`
	Done     int            `json:"done"`
	Left     int            `json:"left"`     // all that are not done
	Rejected int            `json:"rejected"` // runs of the plan that were rejected
	Repeat   int            `json:"repeat"`   // slots tried in vain so far
	// Outside are runs since the plan was made that are none of its cells, or one
	// too many of one.
	Outside []string `json:"outside"`
	// LeftS is the time that what is left will take, s; ExpectedEnd the moment
	// that comes after it.
	LeftS       float64       `json:"left_s"`
	ExpectedEnd run.Timestamp `json:"expected_end"`
	// Next is the position of the slot to run next, 0 when nothing is left or a
	// run is in progress on every device that has something left.
	Next int `json:"next"`
}

// Progress says how far a plan has come with the runs done since it was made, in
// the order of their start. device selects the slots of one; "" takes all. A run
// counts if it is finished, not rejected, and has a result.
func (p *Plan) Progress(runs []run.Run, device string, e Estimates, now time.Time) Progress {
	g := Progress{Slots: []SlotProgress{}, Outside: []string{}}
	open := map[run.Cell][]int{} // slots of a cell that no run fills yet
	for i, s := range p.Slots {
		if device != "" && s.Device != device {
			continue
		}
		open[s.Cell] = append(open[s.Cell], len(g.Slots))
		g.Slots = append(g.Slots, SlotProgress{Slot: s, Position: i + 1, State: Open, Attempts: []Attempt{}})
	}
	last := -1 // the slot tried last
	for _, r := range runs {
		if r.StartedAt.Before(p.CreatedAt.Time) || device != "" && r.Device != device {
			continue
		}
		cell := r.Cell()
		slots := open[cell]
		if len(slots) == 0 {
			g.Outside = append(g.Outside, r.ID)
			continue
		}
		last = slots[0]
		if g.enterRun(&g.Slots[last], r) {
			open[cell] = slots[1:]
		}
	}
	g.countStates()
	g.Next = g.nextPosition(p, last)
	g.estimateLeft(e, now)
	return g
}

// enterRun enters a run in its slot and tells whether it fills it.
func (g *Progress) enterRun(s *SlotProgress, r run.Run) (fills bool) {
	switch {
	case r.State == run.Recording:
		s.State, s.Run = Recording, r.ID
		return true
	case isComplete(r):
		s.State, s.Run = Done, r.ID
		return true
	case r.State == run.Rejected:
		g.Rejected++
	}
	s.State = Repeat
	s.Attempts = append(s.Attempts, Attempt{r.ID, whyNotCounted(r)})
	return false
}

func whyNotCounted(r run.Run) string {
	switch r.State {
	case run.Rejected:
		return "rejected: " + r.Why
	case run.Interrupted:
		return "interrupted: the agent ended while recording"
	}
	return fmt.Sprintf("no result: give it with `sweepd run result %s NAME=VALUE`, or run it again", run.ShortID(r.ID))
}

func (g *Progress) countStates() {
	for _, s := range g.Slots {
		switch s.State {
		case Done:
			g.Done++
			continue
		case Repeat:
			g.Repeat++
		}
		g.Left++
	}
}

// nextPosition chooses within the first pass that has something left, so that passes stay
// apart: first the stretch that was tried last, then the next stretch with slots
// not tried yet, then what is to be repeated.
func (g *Progress) nextPosition(p *Plan, last int) int {
	type candidate struct {
		slot            *SlotProgress
		pass            int
		elsewhere, late bool
	}
	var list []candidate
	from, to := 0, 0 // the stretch that was tried last
	if last >= 0 {
		from, to = p.stretch(g.Slots[last].Position - 1)
	}
	for i := range g.Slots {
		s := &g.Slots[i]
		if s.State != Open && s.State != Repeat || g.busy(s.Device) {
			continue
		}
		here := from < s.Position && s.Position <= to
		list = append(list, candidate{s, s.Pass, !here, s.State == Repeat})
	}
	if len(list) == 0 {
		return 0
	}
	best := slices.MinFunc(list, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.pass, b.pass), compareBool(a.elsewhere, b.elsewhere), compareBool(a.late, b.late),
			cmp.Compare(a.slot.Position, b.slot.Position))
	})
	return best.slot.Position
}

// busy tells whether a run is in progress on a device.
func (g *Progress) busy(device string) bool {
	return slices.ContainsFunc(g.Slots, func(s SlotProgress) bool { return s.Device == device && s.State == Recording })
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// estimateLeft adds up what is left, as if done one after the other from now on.
func (g *Progress) estimateLeft(e Estimates, now time.Time) {
	for _, s := range g.Slots {
		if s.State != Done {
			g.LeftS += e.slotS(s.Cell) + s.WaitS
		}
	}
	g.ExpectedEnd = run.Stamp(now.Add(time.Duration(g.LeftS * float64(time.Second))))
}
