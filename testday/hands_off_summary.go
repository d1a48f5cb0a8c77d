package testday

import (
	"fmt"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// summary are sentences about a day that is over.
func (d *HandsOffDay) summary(why string) []string {
	took := d.elapsed()
	d.mu.Lock()
	defer d.mu.Unlock()
	k, p := &d.kept, d.shown.progress
	list := []string{
		fmt.Sprintf("The day is over: %s.", why),
		fmt.Sprintf("%s done by it in %s, pauses left out; of the plan %d are done and %d are left.", sentence.Counted(k.Done, "run"), sentence.Clock(analysis.Number(took.Hours())), p.Done, p.Left),
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
		list = append(list, fmt.Sprintf("Something speaks against %s that count: `sweepd run list` shows what.", sentence.Counted(k.Doubted, "run")))
	}
	if len(k.Disobeyed) > 0 {
		list = append(list, fmt.Sprintf("Power was held otherwise than set at %s: the device does not go there, or was limited by something else.", strings.Join(k.Disobeyed, ", ")))
	}
	return append(list, skippedSentences(k.Skipped)...)
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
