package run

import "fmt"

// IdlePower is what the device draws while nothing runs, W; nil where it is unknown.
type IdlePower struct {
	PackageW   *float64
	DischargeW *float64 // on battery
}

// Trimming is up to where a run's watts count. Package power, discharge and duration are
// those up to there; summaries and results stay as they are.
type Trimming struct {
	EndS      float64 // after the start, s
	PackageW  *float64
	SystemW   *float64
	Discharge *Discharge
	// Whole: nothing is cut off.
	Whole bool
}

// TailUndecided tells whether the run was idle at its end and its user has not said yet up
// to where it counts. Until then it has no watts: see LimitSystemPower.
func (r *Run) TailUndecided() bool {
	for _, f := range r.Findings {
		if f.Code == IdleTail {
			return f.Severity != SeverityNote
		}
	}
	return false
}

// IdleTailFinding says of a run that it was idle at its end, and what was decided of it.
// Whether that is a doubt hangs on decided, which is empty while nothing is.
func (d *Record) IdleTailFinding(decided string) Finding {
	f := Finding{Code: IdleTail, Severity: SeverityDoubt}
	whole := d.Seconds()
	if d.WholeS != nil {
		whole = *d.WholeS
	}
	f.Text = fmt.Sprintf("the load ended after %.1f s, the run after %.1f s: power was back at the idle level", *d.LoadEndS, whole)
	for _, id := range []string{PackagePower, BatteryPower} {
		if load, all, n := meansOf(d.Summaries, id); n > 0 {
			f.Text += fmt.Sprintf(" (%.1f W until then, %.1f W over all)", load, all)
			break
		}
	}
	if decided != "" {
		f.Severity = SeverityNote
		f.Text += "; " + decided
	}
	return f
}

// meansOf are the means of a sensor until the load ended and over all, summed over its
// instances; of package power over those that an energy counter has too, else the first
// alone, since other sensors measure the same watts again.
func meansOf(list []Summary, sensor string) (load, all float64, n int) {
	counted := map[string]bool{}
	for i := range list {
		if list[i].Sensor == PackageEnergy {
			counted[list[i].Instance] = true
		}
	}
	for i := range list {
		s := &list[i]
		if s.Sensor != sensor || s.LoadMean == nil || s.Mean == nil || sensor == PackagePower && len(counted) > 0 && !counted[s.Instance] {
			continue
		}
		load, all, n = load+*s.LoadMean, all+*s.Mean, n+1
		if sensor == PackagePower && len(counted) == 0 {
			break
		}
	}
	return load, all, n
}
