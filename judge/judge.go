package judge

import (
	"fmt"
	"math"
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
//
// The trace is walked once and nothing of it is kept but what timeQuantiles says and
// a few numbers for each second: with 40 sensors, at most about 1.5 MB for each hour at
// 250 ms. Only a run whose duration is unknown, or shorter than its sweeps, is walked
// again for its quantiles.
func Judge(d run.Record, trace run.Trace, th Thresholds) (run.Record, error) {
	j := newJudgement(d, trace.Sensors(), th.withDefaults())
	if err := trace.Each(j.observe); err != nil {
		return d, err
	}
	return j.conclude(trace)
}

// check looks at every sweep of a run and then says what it found.
type check interface {
	// observe gets each sweep and the time since the first one.
	observe(s *run.Sweep, t time.Duration)
	findings() []run.Finding
}

type judgement struct {
	d     run.Record
	th    Thresholds
	index SensorIndex
	early []run.Sweep // until the interval between sweeps is known

	sums      []integrator
	quantiles *timeQuantiles
	discharge *dischargeEstimate
	clock     *clockCheck
	supply    *supplyCheck
	said      *saidSupply // nil unless a person said what the supply was
	setting   *settingCheck
	power     *powerCheck
	checks    []check // nil while the interval is unknown

	n           int
	first, last run.Instant
}

func newJudgement(d run.Record, sensors []run.Sensor, th Thresholds) *judgement {
	j := &judgement{d: d, th: th, index: NewSensorIndex(sensors)}
	j.discharge = newDischargeEstimate(&j.index)
	j.quantiles = newTimeQuantiles(sensors, summaryQuantile, j.longest())
	return j
}

// summaryQuantile is the one that summaries state.
const summaryQuantile = 0.95

// longest is how long the run is, as far as that is known before its sweeps; 0
// unknown. The store rounds their times.
func (j *judgement) longest() time.Duration {
	if j.d.DurationS == nil {
		return 0
	}
	return time.Duration(*j.d.DurationS*float64(time.Second)) + time.Second
}

// observe takes a sweep, once it is known how far apart they are.
func (j *judgement) observe(s run.Sweep) error {
	if j.checks != nil {
		return j.take(&s)
	}
	s.Values = slices.Clone(s.Values)
	if j.early = append(j.early, s); len(j.early) <= intervals {
		return nil
	}
	return j.begin()
}

// begin makes the checks and has them look at the early sweeps.
func (j *judgement) begin() error {
	interval := typicalInterval(j.early)
	bridge := max(j.th.Gone, 5*interval)
	step, until := warmUpStep, time.Duration(math.MaxInt64)
	if w := j.d.WarmUpS; w != nil { // given by the user
		step = time.Duration(*w * float64(time.Second))
		until = step
	}
	j.sums = newIntegrators(j.index.Sensors, bridge, step, until)
	j.clock = &clockCheck{gap: max(j.th.Gap, 3*interval), step: j.th.ClockStep}
	j.supply = &supplyCheck{index: &j.index, settle: j.th.Settle}
	if j.d.HasCorrected(run.FieldSupply) {
		j.said = &saidSupply{supply: j.d.Supply, settle: j.th.Settle}
	}
	j.setting = &settingCheck{index: &j.index, th: j.th}
	j.power = newPowerCheck(&j.index, j.setting, j.th)
	j.checks = []check{
		j.supply, j.setting, j.clock, newGoneCheck(&j.index, bridge), &chargingCheck{index: &j.index},
		&weakCheck{index: &j.index, th: j.th}, newReserveCheck(&j.index, j.th), &staleCheck{index: &j.index, allowed: j.th.Stale},
		j.power, newCounterCheck(j.index.Sensors),
	}
	early := j.early
	j.early = nil
	for i := range early {
		if err := j.take(&early[i]); err != nil {
			return err
		}
	}
	return nil
}

func (j *judgement) take(s *run.Sweep) error {
	if j.n == 0 {
		j.first = s.At
	}
	if j.n > 0 && s.At.Mono < j.last.Mono {
		return fmt.Errorf("sweep %d is earlier than the one before it", j.n)
	}
	j.n++
	j.last = s.At
	t := s.At.Mono - j.first.Mono
	j.relabel(s, t)
	for i := range j.sums {
		j.sums[i].observe(t, At(s.Values, i))
	}
	j.quantiles.observe(s.Values, t)
	j.discharge.observe(s, t)
	for _, c := range j.checks {
		c.observe(s, t)
	}
	return nil
}

func (j *judgement) conclude(trace run.Trace) (run.Record, error) {
	if j.checks == nil {
		if err := j.begin(); err != nil {
			return j.d, err
		}
	}
	lost := trace.Lost()
	d := j.d
	duration := (j.last.Mono - j.first.Mono).Seconds()
	if d.DurationS == nil || d.State == run.Interrupted {
		d.DurationS = &duration
	}
	if err := j.closeQuantiles(trace); err != nil {
		return j.d, err
	}
	d.Summaries = summaries(j.index.Sensors, j.sums, j.quantiles, *d.DurationS)
	j.cutWarmUp(&d)
	if err := j.cutTail(&d, trace); err != nil {
		return j.d, err
	}
	j.supply.describe(&d)
	j.setting.describe(&d)
	j.describeWatts(&d)
	d.Findings = j.findings(&d, lost)
	d.LimitSystemPower()
	rejectBy(&d)
	return d, nil
}

// describeWatts says what the sweeps so far tell of a run's power over its duration.
func (j *judgement) describeWatts(d *run.Record) {
	d.Discharge = j.discharge.result(*d.DurationS)
	d.PackageW = meanPower(&j.index, d.Summaries, *d.DurationS)
	d.SystemW, d.SystemWSource = nil, ""
	if d.Supply != run.Battery {
		d.SystemW, d.SystemWSource = externalPower(d)
	} else if d.Discharge != nil {
		d.SystemW = d.Discharge.Watts
	}
}

// relabel has a person's later word stand in place of what was read or declared.
func (j *judgement) relabel(s *run.Sweep, t time.Duration) {
	if j.said != nil {
		j.said.observe(s, t)
		s.Supply = j.d.Supply
	}
	if j.d.HasCorrected(run.FieldSetting) {
		s.Setting = j.d.Setting
	}
}

// closeQuantiles walks the trace once more where it was longer than was known.
func (j *judgement) closeQuantiles(trace run.Trace) error {
	if j.quantiles.close() {
		return nil
	}
	j.quantiles = newTimeQuantiles(j.index.Sensors, summaryQuantile, j.last.Mono-j.first.Mono)
	err := trace.Each(func(s run.Sweep) error {
		j.quantiles.observe(s.Values, s.At.Mono-j.first.Mono)
		return nil
	})
	j.quantiles.close()
	return err
}

// findings are those of the start and of the checks, one of each code, those that
// weigh most first.
func (j *judgement) findings(d *run.Record, lost []run.Loss) []run.Finding {
	found := append([]run.Finding{}, fromBefore(d)...)
	for _, f := range found {
		if f.Code == run.ReadingsLost {
			lost = append(slices.Clone(lost), run.Loss{From: f.At})
		}
	}
	add := func(list []run.Finding) {
		for _, f := range list {
			if !slices.ContainsFunc(found, func(g run.Finding) bool { return g.Code == f.Code }) {
				found = append(found, f)
			}
		}
	}
	add(settingUnknown(d.Setting))
	add(tooShort(*d.DurationS, j.th))
	add(resultMissing(*d))
	if d.LoadEndS != nil {
		add([]run.Finding{d.IdleTailFinding("")})
	}
	add(LostFindings(lost))
	add(j.discharge.findings(*d.DurationS))
	j.clock.lost = lost
	if j.said != nil {
		add(j.said.findings(*d.DurationS))
	}
	for _, c := range j.checks {
		add(c.findings())
	}
	sort.SliceStable(found, func(a, b int) bool { return weight(found[a].Severity) > weight(found[b].Severity) })
	run.Advise(found)
	return found
}

// cutWarmUp adds the steady part's means; it changes nothing else.
func (j *judgement) cutWarmUp(d *run.Record) {
	cut := warmUp(j.power.seconds.list)
	if d.WarmUpS != nil { // given by the user
		cut = time.Duration(*d.WarmUpS * float64(time.Second))
	}
	if cut <= 0 {
		return
	}
	seconds := cut.Seconds()
	d.WarmUpS = &seconds
	n := 0
	for i := range j.sums {
		if j.sums[i].n > 0 {
			if !j.sums[i].counter {
				d.Summaries[n].SteadyMean = j.sums[i].steadyMean(cut)
			}
			n++
		}
	}
}

// fromBefore are the findings that the trace does not tell: of the start, since they
// need the device's idle baseline, of the command that was run, and of sweeps that were
// lost before the agent was started anew.
func fromBefore(d *run.Record) []run.Finding {
	var found []run.Finding
	for _, f := range d.Findings {
		switch f.Code {
		case run.HotStart, run.BusyStart, run.CommandFailed, run.ReadingsLost:
			found = append(found, f)
		case run.SettingUnknown: // of a declaration from before a restart; whether there is none the trace tells
			if f.Text != noSetting && d.Setting.Source == run.Declared && !d.HasCorrected(run.FieldSetting) {
				found = append(found, f)
			}
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
		"the run lasted %.1f s, less than %.0f s: its power and discharge are hardly known", math.Floor(10*duration)/10, th.TooShort.Seconds())}}
}

func resultMissing(d run.Record) []run.Finding {
	if len(d.Results) > 0 {
		return nil
	}
	return []run.Finding{{Code: run.ResultMissing, Severity: run.SeverityDoubt, Text: "no result was given"}}
}

// intervals is from how many of them the typical one is told.
const intervals = 200

// typicalInterval is the median of the intervals between these sweeps; 0 where there
// is none.
func typicalInterval(early []run.Sweep) time.Duration {
	var list []time.Duration
	for i := 1; i < len(early); i++ {
		list = append(list, early[i].At.Mono-early[i-1].At.Mono)
	}
	if len(list) == 0 {
		return 0
	}
	slices.Sort(list)
	return list[len(list)/2]
}
