package run

import (
	"errors"
	"strconv"
)

// ErrNoSweep is returned for keeping an interrupted run of which not one sweep is stored.
var ErrNoSweep = errors.New("no sweep of it was stored before the agent died, so nothing is known of it: run it again")

// KeepInterrupted makes an interrupted run one that counts, to its last stored sweep, as
// its user decided.
func (r *Run) KeepInterrupted(why string) {
	r.State, r.Why = Finished, why
	r.Findings = append(r.Findings[:len(r.Findings):len(r.Findings)], KeptInterruptedFinding(r.DurationS, why))
}

// KeptInterruptedFinding says of a run that it was kept although it was interrupted, by its
// duration in s (nil: unknown) and the reason.
func KeptInterruptedFinding(duration *float64, why string) Finding {
	text := "the agent ended while the run was recording; it was kept by hand to its last stored sweep"
	if duration != nil {
		text += ", " + strconv.FormatFloat(*duration, 'f', 1, 64) + " s after its start"
	}
	return Finding{Code: KeptInterrupted, Severity: SeverityNote, Text: text + ": " + why}
}
