package console

import "sweepd/run"

// StartWarnings are the sentences that somebody who has just started a run
// should read: what the agent doubts already.
func StartWarnings(r run.Run) []string {
	var warnings []string
	for _, f := range r.Findings {
		if f.Severity != run.SeverityNote {
			warnings = append(warnings, f.WithAdvice())
		}
	}
	return warnings
}
