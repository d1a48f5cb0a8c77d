package testday

import (
	"fmt"

	"sweepd/frames"
)

// Frame times that add up to this many times the run, and so many seconds more, are not
// the run's; common practice, no source.
const (
	framesFar  = 10
	framesFarS = 60
	framesRunS = 1 // of a shorter run nothing can be said
)

// A unit is the likely one where with it the frame times cover such a share of the run.
const (
	fitsFrom = 1.0 / 3
	fitsTo   = 1.5
)

// checkFit tells why frame times cannot be those of a run of so many seconds: in another
// unit they would fit, or they are far too long. Without a duration nothing can be said.
// What is short is a finding (judge.CheckFrames).
func (r FrameResults) checkFit(durationS *float64) error {
	if durationS == nil || *durationS < framesRunS || r.FramesS <= 0 {
		return nil
	}
	ratio := r.FramesS / *durationS
	why := fmt.Sprintf("the frame times add up to %s, the run lasted %s", seconds(r.FramesS), seconds(*durationS))
	unit := r.likelyUnit(ratio)
	switch long := r.FramesS > framesFar**durationS && r.FramesS > *durationS+framesFarS; {
	case unit != "" && ratio > 1:
		return fmt.Errorf("%s: they are some %.0f times too long: --frame-unit %s?", why, times(frames.Unit(r.Unit), unit), unit)
	case unit != "" && ratio < 1:
		return fmt.Errorf("%s: they are some %.0f times too short: --frame-unit %s?", why, times(unit, frames.Unit(r.Unit)), unit)
	case long && !r.Timestamps && r.Frames > 0 && ratio > float64(r.Frames)/4 && ratio < float64(r.Frames):
		// Times that rise evenly from 0 to T add up to n T/2.
		return fmt.Errorf("%s: are they the times at which frames came: --frame-timestamps?", why)
	case long:
		return fmt.Errorf("%s: is it the file and the column of this run, and their unit (%s)?", why, r.Unit)
	}
	return nil
}

func seconds(s float64) string {
	if s < 100 {
		return fmt.Sprintf("%.3g s", s)
	}
	return fmt.Sprintf("%.0f s", s)
}

// likelyUnit is the unit in which frame times would fit that cover ratio of a run, ""
// where they fit as they are, or in none.
func (r FrameResults) likelyUnit(ratio float64) frames.Unit {
	read, err := frames.ParseUnit(r.Unit)
	if err != nil || read == frames.Rate || ratio > 1.0/framesFar && ratio < framesFar {
		return ""
	}
	for _, u := range frames.Units {
		if fits := ratio * times(u, read); fits > fitsFrom && fits < fitsTo {
			return u
		}
	}
	return ""
}

// times is how many of one unit another has.
func times(unit, of frames.Unit) float64 { return unit.Seconds() / of.Seconds() }
