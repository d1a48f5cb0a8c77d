package analysis

import (
	"math"
	"slices"
	"strings"

	"sweepd/run"
)

const (
	minutesPerHour = 60
	secondsPerHour = 3600
)

// runtimeEstimate is how long a battery lasts, in hours.
type runtimeEstimate struct{ hours, lower, upper float64 }

// runtime is full energy (1 - reserve) / power with the interval of the power,
// ends swapped; the relative standard error u of the full energy adds to the
// variance: e.z +- t_{0.975, nu} sqrt(v + u^2). All NaN where the full energy is
// unknown.
func (g *BatteryGroup) runtime(e estimate, reserve float64) runtimeEstimate {
	return g.timeToUse(e.z, e.v, e.nu, 1-reserve)
}

// timeToUse is the time in which a power of exp(z) W, of variance v in z, takes the
// given share of the full energy.
func (g *BatteryGroup) timeToUse(z, v, nu, share float64) runtimeEstimate {
	u := float64(g.FullEnergyRSE)
	half := twoSided(nu) * math.Sqrt(v+u*u)
	hours := float64(g.FullEnergyWh) * share * math.Exp(-z)
	return runtimeEstimate{hours, hours * math.Exp(-half), hours * math.Exp(half)}
}

// RuntimeGain is by how many minutes the group lasts longer than another variant
// of the same device and workload at the same setting, negative if it does not,
// with a pointwise 95 % interval; Significant says that it leaves out zero.
type RuntimeGain struct {
	Variant     string `json:"variant"` // the one it is compared with
	SettingW    Number `json:"setting_w"`
	Setting     string `json:"setting"`
	Minutes     Number `json:"minutes"`
	Lower       Number `json:"lower"`
	Upper       Number `json:"upper"`
	Significant bool   `json:"told"`
}

// addGains compares every group with the other variants of its device and
// workload.
func addGains(groups []BatteryGroup, reserve float64) {
	for i := range groups {
		a := &groups[i]
		for j := range groups {
			b := &groups[j]
			if i != j && a.Device == b.Device && a.Workload == b.Workload {
				a.Gains = append(a.Gains, gainsOver(a, b, reserve)...)
			}
		}
	}
}

// gainsOver returns the gains of a over b at the settings of both.
func gainsOver(a, b *BatteryGroup, reserve float64) []RuntimeGain {
	var gains []RuntimeGain
	for i, p := range a.Points {
		j := slices.IndexFunc(b.Points, func(q BatteryPoint) bool { return sameSetting(p.SettingW, p.Setting, q.SettingW, q.Setting) })
		if j < 0 {
			continue
		}
		minutes, half := runtimeDifference(a, b, a.means[i], b.means[j], reserve)
		if math.IsNaN(minutes) {
			continue
		}
		g := RuntimeGain{
			Variant: b.Variant, SettingW: p.SettingW, Setting: p.Setting,
			Minutes: Number(minutes), Lower: Number(minutes - half), Upper: Number(minutes + half),
		}
		g.Significant = g.Lower > 0 || g.Upper < 0
		gains = append(gains, g)
	}
	return gains
}

// runtimeDifference is the runtime of a less that of b in minutes, and the half
// width of its interval. With Ra and Rb the runtimes, va and vb the variances of
// the mean ln power and u the relative standard error of the full energy,
//
//	se^2 = Ra^2 va + Rb^2 vb + u^2 (Ra - Rb)^2
//
// where both share one battery; else u^2 (Ra - Rb)^2 becomes ua^2 Ra^2 + ub^2
// Rb^2. Half width t_{0.975} se, degrees of freedom by Satterthwaite from the two
// power terms. NaN where a runtime is unknown. What the runs of a variant share
// (see commonUncertainty) counts as if it were another for each variant, which may be more
// than need be: whether a gauge errs alike with both nobody can know.
//
// Source: propagation of uncertainty, GUM (JCGM 100:2008) 5.1.2 and G.4;
// coverage: TestStudyBattery.
func runtimeDifference(a, b *BatteryGroup, ea, eb estimate, reserve float64) (minutes, half float64) {
	ra, rb := a.runtime(ea, reserve).hours, b.runtime(eb, reserve).hours
	ua, ub := float64(a.FullEnergyRSE), float64(b.FullEnergyRSE)
	v, nu := welch(estimate{v: ra * ra * ea.v, nu: ea.nu}, estimate{v: rb * rb * eb.v, nu: eb.nu})
	if a.FullEnergyWh == b.FullEnergyWh && ua == ub {
		v += ua * ua * (ra - rb) * (ra - rb)
	} else {
		v += ua*ua*ra*ra + ub*ub*rb*rb
	}
	return minutesPerHour * (ra - rb), minutesPerHour * twoSided(nu) * math.Sqrt(v)
}

// MeasuredRuntime is a run that went on until the battery was down: how long it
// lasted beside what the power at its setting predicts for the charge that it
// used. The interval is that of a single run, so it holds 95 % of such runs.
type MeasuredRuntime struct {
	Run             string `json:"run"`
	SettingW        Number `json:"setting_w"`
	Setting         string `json:"setting"`
	StartCharge     Number `json:"start_charge"` // 0 to 1; null: unknown, the prediction takes it as 1
	EndCharge       Number `json:"end_charge"`   // 0 to 1; null: unknown, the prediction takes it as the reserve
	SwitchedOff     bool   `json:"switched_off"` // the device ended the run
	RuntimeH        Number `json:"runtime_h"`
	PredictedH      Number `json:"predicted_h"`
	PredictedLowerH Number `json:"predicted_lower_h"`
	PredictedUpperH Number `json:"predicted_upper_h"`
}

// What makes a run a measured runtime, where its charges are known. Common
// practice, no source.
const (
	leastUsed  = 0.25 // a run must have used so much of it, or the gauge's steps outweigh the rest
	chargeStep = 0.01 // of most gauges
)

// ranDown tells whether the run measured a runtime.
func ranDown(r *run.Run, reserve float64) bool {
	if !usable(r.Seconds()) {
		return false
	}
	start, startKnown := deref(r.StartCharge)
	end, endKnown := deref(r.EndCharge)
	if startKnown && start < leastUsed || startKnown && endKnown && start-end < leastUsed {
		return false
	}
	return r.HasFinding(run.BatteryReserve) || endKnown && end <= max(reserve, run.LowCharge)
}

// addMeasured adds the runs that emptied the battery, those at settings without
// other runs too. The prediction is (charge used) x (full energy) / power. Its relative
// variance is V (1 + 1/n) + u^2, that of what the runs share, and that of the charge,
// which is rounded to its steps at both ends.
func (b *batteryGroup) addMeasured(key Group) {
	unknownCharge := 0
	for j, sample := range b.samples {
		for _, i := range sample.runs {
			if r := &b.runs[i]; ranDown(r, b.req.Reserve) {
				m := b.measured(r, sample, &b.out.means[j], &unknownCharge)
				m.SwitchedOff = keptInterrupted(r)
				b.out.Measured = append(b.out.Measured, m)
			}
		}
	}
	for i := range b.req.SwitchedOff {
		r := &b.req.SwitchedOff[i]
		if groupOf(r) != key || !ranDown(r, b.req.Reserve) {
			continue
		}
		setting, ok := settingOf(r)
		if !ok {
			continue
		}
		others, e := sample{watts: wattsOf(setting), name: setting.Name()}, (*estimate)(nil)
		if j := slices.IndexFunc(b.samples, func(s sample) bool { return s.setting() == setting }); j >= 0 {
			others, e = b.samples[j], &b.out.means[j]
		}
		m := b.measured(r, others, e, &unknownCharge)
		m.SwitchedOff = true
		b.out.Measured = append(b.out.Measured, m)
	}
	if unknownCharge > 0 {
		b.note(Note{Code: NoteStartChargeUnknown, Count: unknownCharge})
	}
	slices.SortFunc(b.out.Measured, func(x, y MeasuredRuntime) int { return strings.Compare(x.Run, y.Run) })
}

// measured is the run beside the prediction from the mean power e of the others at
// its setting; e is nil where there are none.
func (b *batteryGroup) measured(r *run.Run, others sample, e *estimate, unknownCharge *int) MeasuredRuntime {
	m := MeasuredRuntime{
		Run: r.ID, SettingW: Number(others.watts), Setting: others.name, StartCharge: Unknown(), EndCharge: Unknown(),
		RuntimeH: Number(r.Seconds() / secondsPerHour), PredictedH: Unknown(), PredictedLowerH: Unknown(), PredictedUpperH: Unknown(),
	}
	from, to := 1.0, b.req.Reserve
	if c, ok := deref(r.StartCharge); ok && usable(c) {
		from = min(c, 1)
		m.StartCharge = Number(c)
	} else {
		*unknownCharge++
	}
	if c, ok := deref(r.EndCharge); ok && c >= 0 && finite(c) {
		to = c
		m.EndCharge = Number(c)
	}
	if e == nil {
		return m
	}
	used := max(from-to, 0)
	shared := b.commonUncertainty(others.runs)
	v := (e.v-shared*shared)*(1+float64(e.n)) + shared*shared
	if m.StartCharge.Known() && m.EndCharge.Known() {
		v += chargeStep * chargeStep / 6 / (used * used)
	}
	p := b.out.timeToUse(e.z, v, e.nu, used)
	m.PredictedH, m.PredictedLowerH, m.PredictedUpperH = Number(p.hours), Number(p.lower), Number(p.upper)
	return m
}
