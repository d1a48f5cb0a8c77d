package judge

import (
	"fmt"
	"slices"
	"time"

	"sweepd/run"
)

// LostFindings say what sweeps of a run were taken and are lost: one finding for
// those that were never stored, one for those that cannot be read any more.
func LostFindings(lost []run.Loss) []run.Finding {
	var found []run.Finding
	for _, c := range []struct {
		code run.Code
		what string
	}{
		{run.ReadingsLost, "could not be stored and are lost"},
		{run.DataDamaged, "cannot be read, for the stored data is damaged"},
	} {
		of := slices.DeleteFunc(slices.Clone(lost), func(l run.Loss) bool { return l.Code != c.code })
		if len(of) == 0 {
			continue
		}
		found = append(found, run.Finding{Code: c.code, Severity: run.SeverityDoubt, At: of[0].From, Text: fmt.Sprintf(
			"%s %s: the run is known without them", lostText(of), c.what)})
	}
	return found
}

// lostText says how many sweeps, and when: "1200 sweeps from 10:15:03 to 10:20:03 UTC".
func lostText(lost []run.Loss) string {
	sweeps, atLeast, stretches := 0, "", ""
	from, to := lost[0].From, lost[0].To
	for _, l := range lost {
		sweeps += l.Sweeps
		if l.AtLeast {
			atLeast = "at least "
		}
		if l.To.After(to) {
			to = l.To
		}
	}
	if len(lost) > 1 {
		stretches = fmt.Sprintf(" in %d stretches", len(lost))
	}
	return fmt.Sprintf("%s%d sweeps%s from %s to %s", atLeast, sweeps, stretches, from.UTC().Format("15:04:05"), clockTime(to))
}

// during tells whether a loss explains that there is no sweep between a and b.
func during(lost []run.Loss, a, b time.Time) bool {
	return slices.ContainsFunc(lost, func(l run.Loss) bool { return !l.From.Before(a) && l.From.Before(b) })
}
