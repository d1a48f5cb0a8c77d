package testday

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// summary are sentences about a day that is over.
func (d *HandsOffDay) summary(why string) []string {
	took := d.elapsed()
	d.mu.Lock()
	defer d.mu.Unlock()
	k, p := &d.kept, d.shown.progress
	list := []string{
		fmt.Sprintf("The day is over: %s.", why),
		fmt.Sprintf("%s done by it in %s, pauses left out; of the plan %d done, %d left.", sentence.Counted(k.Done, "run"), sentence.Clock(analysis.Number(took.Hours())), p.Done, p.Left),
	}
	if n := max(k.InVain, k.Tried-k.TriedBefore); n > 0 {
		list = append(list, fmt.Sprintf("%s came to nothing besides.", sentence.Counted(n, "run")))
	}
	switch k.Hands {
	case 0:
		list = append(list, "No hand was needed.")
	default:
		list = append(list, fmt.Sprintf("A hand was needed %s.", timesSaid(k.Hands)))
	}
	if k.Unverified > 0 {
		list = append(list, fmt.Sprintf("The setting of %s is verified by reading it back alone: no power of the package was measured.", sentence.Counted(k.Unverified, "run")))
	}
	if k.Doubted > 0 {
		list = append(list, fmt.Sprintf("Counted all the same, though something speaks against it: %s; `sweepd run list` shows what.", sentence.Counted(k.Doubted, "run")))
	}
	if len(k.Disobeyed) > 0 {
		list = append(list, fmt.Sprintf("Power was held otherwise than set at %s: the device does not go there, or was limited by something else.", strings.Join(k.Disobeyed, ", ")))
	}
	list = append(list, skippedSentences(k.Skipped)...)
	if len(k.Skipped) > 0 {
		list = append(list, "`sweepd plan run --retry-skipped` takes up again what was skipped.")
	}
	return list
}

// mostSuspects is how many suspicious runs a summary names.
const mostSuspects = 5

// suspects name runs of the plan that count and took clearly less power than one of the same
// workload, supply and variant at a clearly lower setting: their limit may not have been in
// force, though it read back.
func (d *HandsOffDay) suspects(ctx context.Context) (list []string) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), readTimeout)
	defer cancel()
	d.mu.Lock()
	device, id := d.kept.Device, d.kept.Plan
	d.mu.Unlock()
	plan, err := d.o.Plan(ctx, device)
	if err != nil || plan.ID != id {
		return nil
	}
	for i := range plan.Runs {
		r := &plan.Runs[i]
		at := slices.IndexFunc(plan.Runs, func(x run.Run) bool { return tookLessAtMore(r, &x) })
		switch {
		case at < 0:
		case len(list) == mostSuspects:
			return append(list, "And more such runs.")
		default:
			x := &plan.Runs[at]
			list = append(list, fmt.Sprintf("Run %s took %.1f W at %s, and run %s %.1f W at %s: the first one's limit may not have been in force. `sweepd run reject` sets it aside.",
				run.ShortID(r.ID), *r.PackageW, r.Setting.Setting, run.ShortID(x.ID), *x.PackageW, x.Setting.Setting))
		}
	}
	return list
}

// tookLessAtMore tells whether a run took clearly less than another one at a clearly lower
// setting, by more than 10 % each.
func tookLessAtMore(r, x *run.Run) bool {
	set, ok := r.Setting.Watts()
	other, too := x.Setting.Watts()
	return ok && too && r.State == run.Finished && x.State == run.Finished && r.Device == x.Device && r.Workload == x.Workload && r.Supply == x.Supply && r.Variant == x.Variant &&
		r.PackageW != nil && x.PackageW != nil && set > 1.1*other && *x.PackageW > *r.PackageW+math.Max(0.1**r.PackageW, 0.5)
}

// summarySkipped is how many reasons a summary names why slots were skipped.
const summarySkipped = 20

// skippedSentences say what was skipped, together what was for one reason.
func skippedSentences(skipped []skippedSlot) (list []string) {
	var reasons []string
	by := map[string][]skippedSlot{}
	for _, s := range skipped {
		if by[s.Why] == nil {
			reasons = append(reasons, s.Why)
		}
		by[s.Why] = append(by[s.Why], s)
	}
	for i, why := range reasons {
		same := by[why]
		switch {
		case i == summarySkipped:
			return append(list, fmt.Sprintf("And for %d other reasons more was skipped.", len(reasons)-i))
		case len(same) == 1:
			list = append(list, fmt.Sprintf("Skipped: %s: %s.", same[0].Cell, why))
		default:
			list = append(list, fmt.Sprintf("Skipped: %s, the first %s: %s.", sentence.Counted(len(same), "run"), same[0].Cell, why))
		}
	}
	return list
}

// timesSaid says how often: "once", "3 times".
func timesSaid(n int) string {
	if n == 1 {
		return "once"
	}
	return sentence.Counted(n, "time")
}
