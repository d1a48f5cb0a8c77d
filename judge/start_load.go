package judge

import (
	"fmt"
	"math"
	"slices"

	"sweepd/run"
)

// UsualLoad is the processor load, as a share, at which runs like one that starts now
// have begun: the lower median over the earlier starts that count. A game that is open and
// idles in its menu keeps the processor busy before every start; that is how one begins
// there, and no doubt. One accident among several starts does not change what is usual.
// It is NaN where no earlier start tells.
func UsualLoad(earlier []run.Record) float64 {
	var loads []float64
	for _, d := range earlier {
		if d.State != run.Finished {
			continue
		}
		for _, s := range d.Summaries {
			if s.Sensor == run.CPUBusy && s.First != nil {
				loads = append(loads, *s.First)
			}
		}
	}
	if len(loads) == 0 {
		return math.NaN()
	}
	slices.Sort(loads)
	return loads[(len(loads)-1)/2]
}

// busy is the processor load at this moment, and the highest that is allowed: the
// threshold or, where more is usual, half the threshold above that (common practice, no
// source). NaN where the load is not known.
func (m *Moment) busy() (load, allowed float64) {
	th := m.Thresholds.withDefaults()
	allowed = th.BusyStart
	if m.UsualLoad+th.BusyStart/2 > allowed {
		allowed = math.Min(m.UsualLoad+th.BusyStart/2, 1)
	}
	return At(m.Values, m.Index.busy), allowed
}

// allowedLoad says what is allowed, and why it is more than the threshold.
func (m *Moment) allowedLoad() string {
	_, allowed := m.busy()
	text := fmt.Sprintf("allowed: %.0f %%", 100*allowed)
	if allowed > m.Thresholds.withDefaults().BusyStart {
		text += fmt.Sprintf(", since %.0f %% is usual at its starts", 100*m.UsualLoad)
	}
	return text
}
