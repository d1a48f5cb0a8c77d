package schedule

import (
	"fmt"
	"slices"
	"time"

	"sweepd/run"
)

// SlotState says what was done of a slot.
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
	Stretch  int       `json:"stretch"`  // from 1; its slots need no change by hand of what is hard to change
	State    SlotState `json:"state"`
	Run      string    `json:"run"` // that counts, or is recording; "" for none
	Attempts []Attempt `json:"tries"`
}

// Progress is how far a plan has come. Done + Left is the number of slots.
type Progress struct {
	Slots []SlotProgress `json:"slots"`
	Counts
	// Outside are the runs since the plan was made that have no slot: the plan lacks
	// their cell, or all slots of it are done.
	Outside []string `json:"outside"`
	// Next is the position of the slot to run next, 0 when nothing is left or a
	// run is in progress on every device that has slots left.
	Next int `json:"next"`
}

// Counts is how far a plan has come, in numbers.
type Counts struct {
	Done     int `json:"done"`
	Left     int `json:"left"`     // all that are not done
	Rejected int `json:"rejected"` // runs of the plan that were rejected
	Repeat   int `json:"repeat"`   // slots tried in vain so far
	// LeftS is the time that the slots left will take, s, one after the other;
	// ExpectedEnd is that much after now.
	LeftS       float64       `json:"left_s"`
	ExpectedEnd run.Timestamp `json:"expected_end"`
}

// Progress assigns the runs since the plan was made, in the order of their start, to
// the slots of their cells, and says how far the plan has come. device selects the slots
// of one device; "" takes all. A run counts if it is finished and has a result.
func (p *Plan) Progress(runs []run.Run, device string, e Estimates, now time.Time) Progress {
	g := Progress{Slots: []SlotProgress{}, Outside: []string{}}
	open := map[run.Cell][]int{} // slots of a cell that no run fills yet
	stretch, ends := 0, 0
	for i, s := range p.Slots {
		if i == ends {
			stretch++
			_, ends = p.stretch(i)
		}
		if device != "" && s.Device != device {
			continue
		}
		open[s.Cell] = append(open[s.Cell], len(g.Slots))
		g.Slots = append(g.Slots, SlotProgress{Slot: s, Position: i + 1, Stretch: stretch, State: Open, Attempts: []Attempt{}})
	}
	last := -1 // index of the slot tried last
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

// enterRun enters a run in its slot; fills is false where another run is needed for it.
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
		return fmt.Sprintf("interrupted, the agent ended while recording: `sweepd run keep %s --why TEXT` counts it, or run it again", run.ShortID(r.ID))
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

// nextPosition is the position of the slot to run next, 0 for none. It is one of the
// first pass that has slots left, so that passes stay apart: in the stretch of the slot
// tried last before others; among these, one not tried yet before one to repeat; among
// these, the first.
func (g *Progress) nextPosition(p *Plan, last int) int {
	from, to := 0, 0 // the stretch of the slot tried last
	if last >= 0 {
		from, to = p.stretch(g.Slots[last].Position - 1)
	}
	best, bestPass, bestRank := 0, 0, 0
	for _, s := range g.Slots {
		if s.State != Open && s.State != Repeat || g.busy(s.Device) {
			continue
		}
		rank := 0 // within the pass
		if s.Position <= from || s.Position > to {
			rank += 2
		}
		if s.State == Repeat {
			rank++
		}
		if best == 0 || s.Pass < bestPass || s.Pass == bestPass && rank < bestRank {
			best, bestPass, bestRank = s.Position, s.Pass, rank
		}
	}
	return best
}

// busy tells whether a run is in progress on a device.
func (g *Progress) busy(device string) bool {
	return slices.ContainsFunc(g.Slots, func(s SlotProgress) bool { return s.Device == device && s.State == Recording })
}

// LeaveOut takes the time of the slots at some positions out of what is left: they are
// given up.
func (g *Progress) LeaveOut(positions []int, e Estimates, now time.Time) {
	for _, s := range g.Slots {
		if s.State != Done && slices.Contains(positions, s.Position) {
			g.LeftS = max(0, g.LeftS-e.slotS(s.Cell)-s.WaitS)
		}
	}
	g.ExpectedEnd = run.Stamp(now.Add(time.Duration(g.LeftS * float64(time.Second))))
}

// estimateLeft adds up the time that the slots left will take, one after the other from
// now on.
func (g *Progress) estimateLeft(e Estimates, now time.Time) {
	for _, s := range g.Slots {
		if s.State != Done {
			g.LeftS += e.slotS(s.Cell) + s.WaitS
		}
	}
	g.ExpectedEnd = run.Stamp(now.Add(time.Duration(g.LeftS * float64(time.Second))))
}
