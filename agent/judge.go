package agent

import (
	"fmt"
	"slices"
	"sort"
	"time"

	"sweepd/run"
)

// Judge turns the stored sweeps of a run into its summaries, discharge and
// findings. It asks no clock and changes neither d nor the trace: the same
// sweeps give the same judgement, whether the run ended well or a crash left it
// behind. d carries labels, results and the state that the run has if nothing
// speaks against it; where its duration is unknown the last sweep ends it.
func Judge(d run.Record, trace run.Trace, th Thresholds) (run.Record, error) {
	th = th.withDefaults()
	sensors := trace.Sensors()
	interval, err := typicalInterval(trace)
	if err != nil {
		return d, err
	}
	v := newView(sensors)
	j := &judgement{
		view:      &v,
		sums:      newIntegrators(sensors, max(th.Gone, 5*interval)),
		discharge: newDischargeEstimate(&v, sensors),
		supply:    &supplyCheck{view: &v, settle: th.Settle},
		setting:   &settingCheck{view: &v, th: th},
		bridge:    max(th.Gone, 5*interval),
	}
	j.power = newPowerCheck(&v, j.setting, th)
	j.checks = []check{
		j.supply, j.setting,
		&clockCheck{gap: max(th.Gap, 3*interval), step: th.ClockStep},
		newGoneCheck(&v, sensors, max(th.Gone, 5*interval)),
		&chargingCheck{view: &v},
		&weakCheck{view: &v, th: th}, newReserveCheck(&v, th), &staleCheck{view: &v, allowed: th.Stale},
		j.power,
	}
	if err := trace.Each(j.observe); err != nil {
		return d, err
	}
	return j.conclude(d, trace, sensors, th)
}

// check looks at every sweep of a run and then says what it found.
type check interface {
	// observe gets each sweep and the time since the first one.
	observe(s *run.Sweep, t time.Duration)
	findings() []run.Finding
}

type judgement struct {
	view      *view
	sums      []integrator
	discharge *dischargeEstimate
	supply    *supplyCheck
	setting   *settingCheck
	power     *powerCheck
	bridge    time.Duration
	checks    []check

	n           int
	first, last run.Instant
}

func (j *judgement) observe(s run.Sweep) error {
	if j.n == 0 {
		j.first = s.At
	}
	if j.n > 0 && s.At.Mono < j.last.Mono {
		return fmt.Errorf("sweep %d is earlier than the one before it", j.n)
	}
	j.n++
	j.last = s.At
	t := s.At.Mono - j.first.Mono
	for i := range j.sums {
		j.sums[i].observe(t, at(s.Values, i))
	}
	j.discharge.observe(s.Values, t)
	for _, c := range j.checks {
		c.observe(&s, t)
	}
	return nil
}

func (j *judgement) conclude(d run.Record, trace run.Trace, sensors []run.Sensor, th Thresholds) (run.Record, error) {
	duration := (j.last.Mono - j.first.Mono).Seconds()
	if d.DurationS == nil || d.State == run.Interrupted {
		d.DurationS = &duration
	}
	quantiles, err := timeQuantiles(trace, sensors, 0.95)
	if err != nil {
		return d, err
	}
	d.Summaries = summaries(sensors, j.sums, quantiles, *d.DurationS)
	if err := j.cutWarmUp(&d, trace, sensors); err != nil {
		return d, err
	}
	j.supply.describe(&d)
	j.setting.describe(&d)
	d.Discharge = j.discharge.result(*d.DurationS)
	d.PackageW = meanPower(sensors, d.Summaries, j.view, *d.DurationS)
	d.SystemW = nil
	if d.Supply == run.Battery && d.Discharge != nil {
		d.SystemW = d.Discharge.Watts
	}

	found := fromTheStart(d.Findings)
	found = append(found, tooShort(*d.DurationS, th)...)
	found = append(found, resultMissing(d)...)
	for _, c := range j.checks {
		for _, f := range c.findings() {
			if !slices.ContainsFunc(found, func(g run.Finding) bool { return g.Code == f.Code }) {
				found = append(found, f)
			}
		}
	}
	sort.SliceStable(found, func(a, b int) bool { return weight(found[a].Severity) > weight(found[b].Severity) })
	run.Advise(found)
	d.Findings = found
	if d.Findings == nil {
		d.Findings = []run.Finding{}
	}
	rejectBy(&d)
	return d, nil
}

// cutWarmUp adds the steady part's means; it changes nothing else.
func (j *judgement) cutWarmUp(d *run.Record, trace run.Trace, sensors []run.Sensor) error {
	cut := warmUp(j.power.seconds)
	if d.WarmUpS != nil { // given by the user
		cut = time.Duration(*d.WarmUpS * float64(time.Second))
	}
	if cut <= 0 {
		return nil
	}
	seconds := cut.Seconds()
	d.WarmUpS = &seconds
	steady, err := steadyMeans(trace, sensors, cut, j.bridge)
	if err != nil {
		return err
	}
	n := 0
	for i := range sensors {
		if j.sums[i].n > 0 {
			d.Summaries[n].SteadyMean = steady[i].mean()
			n++
		}
	}
	return nil
}

// fromTheStart are the findings that only the start could tell, since they need
// the device's idle baseline.
func fromTheStart(list []run.Finding) []run.Finding {
	var found []run.Finding
	for _, f := range list {
		if f.Code == run.HotStart || f.Code == run.BusyStart {
			found = append(found, f)
		}
	}
	return found
}

// rejectBy sets the state of a run that a finding rejects.
func rejectBy(d *run.Record) {
	for _, f := range d.Findings {
		if f.Severity == run.SeverityReject && d.State != run.Interrupted {
			d.State, d.Why = run.Rejected, string(f.Code)+": "+f.Text
			return
		}
	}
}

// weight orders severities.
func weight(s run.Severity) int {
	switch s {
	case run.SeverityReject:
		return 2
	case run.SeverityDoubt:
		return 1
	}
	return 0
}

func tooShort(duration float64, th Thresholds) []run.Finding {
	if duration >= th.TooShort.Seconds() {
		return nil
	}
	return []run.Finding{{Code: run.TooShort, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
		"the run lasted %.1f s, less than %.0f s: its power and discharge are hardly known", duration, th.TooShort.Seconds())}}
}

func resultMissing(d run.Record) []run.Finding {
	if len(d.Results) > 0 {
		return nil
	}
	return []run.Finding{run.MissingResult()}
}

// typicalInterval is the median of the first intervals between sweeps.
func typicalInterval(trace run.Trace) (time.Duration, error) {
	const enough = 200
	var gaps []time.Duration
	var last time.Duration
	n := 0
	err := trace.Each(func(s run.Sweep) error {
		if n++; n > 1 && len(gaps) < enough {
			gaps = append(gaps, s.At.Mono-last)
		}
		last = s.At.Mono
		return nil
	})
	if err != nil || len(gaps) == 0 {
		return DefaultInterval, err
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/2], nil
}
