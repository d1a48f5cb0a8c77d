package judge

import (
	"fmt"
	"time"

	"sweepd/run"
)

// saidSupply holds what a person said of the supply after the run against what was read.
// The person's word stands: the adapter may have told wrong, as behind a dock.
type saidSupply struct {
	supply run.Supply
	settle time.Duration

	prev    time.Duration
	differs bool       // at the sweep before
	read    run.Supply // the other one
	other   time.Duration
}

func (c *saidSupply) observe(s *run.Sweep, t time.Duration) {
	if c.differs {
		c.other += t - c.prev
	}
	c.prev, c.differs = t, s.Supply != run.SupplyUnknown && s.Supply != c.supply
	if c.differs {
		c.read = s.Supply
	}
}

func (c *saidSupply) findings(duration float64) []run.Finding {
	if c.other <= c.settle || c.supply == run.SupplyUnknown {
		return nil
	}
	return []run.Finding{{Code: run.SupplyDisagrees, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
		"the supply was corrected to %s, but the system reported %s for %.1f s of %.1f s", c.supply, c.read, c.other.Seconds(), duration)}}
}

// labelCodes are the findings that depend on what a run is labelled with.
var labelCodes = []run.Code{
	run.SupplyChanged, run.SupplyDisagrees, run.SettingChanged, run.SettingUnknown, run.SettingDisagrees, run.SettingDisobeyed,
	run.ChargerWeak, run.BatteryReserve, run.ResultMissing,
}

// Relabelled is what a judgement says of a run whose labels or results were corrected.
type Relabelled struct {
	Findings map[run.Code]*run.Finding // in place of the run's of these codes; nil: it has none
	System   *run.SystemPower          // of the supply that it has now; nil: it stays
	Reject   *run.Finding              // the finding that rejects the run now; nil for none
}

// Relabel judges again what depends on the labels and results of a run that has ended: d
// has them as they are now, and says in Corrected which are a person's later word. The
// other findings stay, and so does what was measured. A run without sweeps keeps what
// only they tell.
func Relabel(d run.Record, trace run.Trace, th Thresholds) (x Relabelled, err error) {
	x.Findings = map[run.Code]*run.Finding{}
	codes := labelCodes
	judged := d
	if len(trace.Sensors()) > 0 {
		judged.State = run.Finished
		if d.WholeS != nil { // trimmed: findings are of all of it
			judged.DurationS = d.WholeS
		}
		if judged, err = Judge(judged, trace, th); err != nil {
			return x, err
		}
		x.System = &run.SystemPower{Watts: judged.SystemW}
		if d.WholeS != nil || d.HasFinding(run.IdleTail) { // up to where it counts, as its user said
			x.System.Watts = trimmedSystem(d)
		}
	} else {
		codes = []run.Code{run.ResultMissing}
		judged.Findings = nil
		if d.HasFinding(run.ResultMissing) { // tables may be without
			judged.Findings = resultMissing(d)
		}
		if d.HasFinding(run.SettingUnknown) {
			codes = append(codes, run.SettingUnknown)
			judged.Findings = append(judged.Findings, settingUnknown(d.Setting)...)
		}
		if d.SettingRead != nil {
			codes = append(codes, run.SettingDisagrees)
			c := settingCheck{th: th.withDefaults(), active: d.Setting, read: *d.SettingRead}
			judged.Findings = append(judged.Findings, c.findings()...)
		}
	}
	for _, code := range codes {
		x.Findings[code] = nil
	}
	for _, f := range judged.Findings {
		if _, depends := x.Findings[f.Code]; depends {
			x.Findings[f.Code] = &f
		}
	}
	for _, f := range append(others(d.Findings, x.Findings), judged.Findings...) {
		if f.Severity == run.SeverityReject {
			x.Reject = &f
			break
		}
	}
	return x, nil
}

// trimmedSystem is the whole device's power of a run up to where it was trimmed, for the
// supply that it has now.
func trimmedSystem(d run.Record) *float64 {
	if d.Supply == run.Battery || d.SystemWSource != run.FromExternal {
		d.SystemW = nil
	}
	if d.Supply == run.Battery && d.Discharge != nil {
		d.SystemW = d.Discharge.Watts
	}
	d.LimitSystemPower()
	return d.SystemW
}

// others are the findings that are not judged again.
func others(list []run.Finding, again map[run.Code]*run.Finding) (stay []run.Finding) {
	for _, f := range list {
		if _, judged := again[f.Code]; !judged {
			stay = append(stay, f)
		}
	}
	return stay
}
