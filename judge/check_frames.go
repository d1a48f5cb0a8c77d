package judge

import (
	"fmt"

	"sweepd/run"
)

// DefaultFramesShort is the share of a run that its frame times must cover (common
// practice, no source): whoever starts and stops by hand takes a few seconds.
const DefaultFramesShort = 0.9

// Frame times may go on a little beyond the run, for recording them is started and
// stopped by hand: by a tenth, and by a second where that is more. Beyond both they
// are not the run's (common practice, no source).
const (
	framesLong  = 1.1
	framesLongS = 1.0
)

// CheckFrames is the finding of a run of which a file of frame times covers too
// little, or more than there was: framesS is the sum of the frame times, least the
// share that is not doubted, 0 for DefaultFramesShort. Without a duration nothing
// can be said.
func CheckFrames(framesS float64, durationS *float64, least float64) (f run.Finding, found bool) {
	if least == 0 {
		least = DefaultFramesShort
	}
	if durationS == nil {
		return f, false
	}
	if framesS > framesLong**durationS && framesS > *durationS+framesLongS {
		return run.Finding{Code: run.FramesShort, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
			"the frame times cover %.1f s, the run lasted %.1f s: they belong to another run or column, or have another unit", framesS, *durationS)}, true
	}
	if framesS >= least**durationS {
		return f, false
	}
	return run.Finding{Code: run.FramesShort, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
		"the frame times cover %.1f s of the run's %.1f s (%.0f %%, at least %.0f %% are wanted)",
		framesS, *durationS, 100*framesS / *durationS, 100*least)}, true
}
