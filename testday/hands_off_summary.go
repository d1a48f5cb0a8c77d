package testday

import (
	"fmt"

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
	if k.InVain > 0 {
		list = append(list, fmt.Sprintf("%s came to nothing and do not count.", sentence.Counted(k.InVain, "run")))
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
	for _, c := range k.Cannot {
		list = append(list, fmt.Sprintf("Not obeyed or not settable, so skipped: %s=%s: %s.", c.Key, c.Value, c.Why))
	}
	for i, s := range k.Skipped {
		if i == summarySkipped {
			list = append(list, fmt.Sprintf("And %d more were skipped.", len(k.Skipped)-i))
			break
		}
		list = append(list, fmt.Sprintf("Skipped: %s: %s.", s.Cell, s.Why))
	}
	return list
}

// summarySkipped is how many skipped slots a summary names.
const summarySkipped = 20

// timesSaid says how often: "once", "3 times".
func timesSaid(n int) string {
	if n == 1 {
		return "once"
	}
	return sentence.Counted(n, "time")
}
