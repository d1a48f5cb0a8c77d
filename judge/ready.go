package judge

import (
	"fmt"
	"math"

	"sweepd/run"
)

// Readiness tells whether a run as wanted could start, and if not, why, and how long
// that takes where it goes by waiting. An unknown setting keeps no run from starting.
func (m *Moment) Readiness(w run.Want) run.Readiness {
	if w.Setting.Known() {
		m.Setting, m.Declared = w.Setting.From(run.Declared), run.Declaration{}
	}
	r := run.Readiness{Reasons: []run.Reason{}}
	m.addTemperature(&r)
	if busy, allowed := m.busy(); busy > allowed {
		r.Reasons = append(r.Reasons, run.Reason{Finding: run.Finding{Code: run.BusyStart, Severity: run.SeverityDoubt,
			Text: fmt.Sprintf("the processor is %.0f %% busy (%s)", 100*busy, m.allowedLoad())},
			Value: &busy, Target: &allowed, Unit: "ratio"})
	}
	m.addSupply(&r, w)
	for _, f := range m.settingCheck().disagrees() {
		if declared, reported := m.settingCheck().disagreement(); w.Setting.Known() {
			f.Text = fmt.Sprintf("the run wants %s, but %s", declared, reported)
		}
		r.Reasons = append(r.Reasons, run.Reason{Finding: f, ByHand: true})
	}
	for i := range r.Reasons {
		one := []run.Finding{r.Reasons[i].Finding}
		run.Advise(one)
		r.Reasons[i].Finding = one[0]
	}
	r.Fit = len(r.Reasons) == 0
	r.ExpectedS = expected(r)
	return r
}

// expected is the time after which all that goes by waiting has gone.
func expected(r run.Readiness) *float64 {
	longest := 0.0
	waits := r.Fit
	for _, x := range r.Reasons {
		switch {
		case x.ByHand:
		case x.ExpectedS == nil:
			return nil
		default:
			waits, longest = true, math.Max(longest, *x.ExpectedS)
		}
	}
	if !waits {
		return nil
	}
	return &longest
}

func (m *Moment) addTemperature(r *run.Readiness) {
	name, c, above, ok := m.warmest()
	if !ok {
		return
	}
	allowed := m.Thresholds.withDefaults().HotStart
	target := c - above + allowed
	r.Celsius, r.AboveBaseline, r.Target = orNil(c), orNil(above), orNil(target)
	if above <= allowed {
		return
	}
	r.Reasons = append(r.Reasons, run.Reason{
		Finding: run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt, Text: fmt.Sprintf("%s is at %.0f °C, target %.0f °C", temperatureName(name), math.Ceil(c), math.Floor(target))},
		Value:   orNil(c), Target: orNil(target), Unit: "degrees celsius", ExpectedS: orNil(m.Baseline.cooling(name, target, m.Boot)),
	})
}

// addSupply also adds what keeps a run on battery from starting: too low a charge.
func (m *Moment) addSupply(r *run.Readiness, w run.Want) {
	supply, charge := m.Index.Supply(m.Values), m.Index.Charge(m.Values)
	if w.Supply != run.SupplyUnknown && supply != w.Supply {
		r.Reasons = append(r.Reasons, run.Reason{Finding: run.Finding{Code: run.SupplyChanged, Severity: run.SeverityDoubt,
			Text: fmt.Sprintf("the device is on %s, the run wants %s", orUnknown(supply), w.Supply), Advice: plugText(w.Supply)}, ByHand: true})
	}
	need, text := m.Thresholds.withDefaults().Reserve, "where devices limit themselves below %.0f %%"
	if w.MinCharge > need {
		need, text = w.MinCharge, "the run needs %.0f %%"
	}
	onBattery := supply == run.Battery || w.Supply == run.Battery && supply == run.Mains
	if !onBattery || math.IsNaN(charge) || charge >= need {
		return
	}
	low := run.Reason{Finding: run.Finding{Code: run.BatteryReserve, Severity: run.SeverityDoubt, Text: fmt.Sprintf("the battery is at %.0f %%, "+text, 100*charge, 100*need)},
		Value: &charge, Target: &need, Unit: "ratio", ByHand: true}
	if supply == run.Mains {
		low.Advice = "it does not charge: see what limits it"
		if m.Index.direction(m.Values) < 0 {
			low.ByHand, low.ExpectedS = false, orNil(m.charging(need-charge))
			low.Advice = "leave it plugged in until then"
		}
		// Whoever unplugs it now has to plug it in again.
		r.Reasons = r.Reasons[:len(r.Reasons)-1]
	}
	r.Reasons = append(r.Reasons, low)
}

// charging is the time that the batteries take for a share of their full content at the
// power that goes into them now, s; NaN where they do not tell. Near full they take longer.
func (m *Moment) charging(share float64) float64 {
	full := 0.0
	for _, b := range m.Index.Batteries {
		full += At(m.Values, b.Full)
	}
	into := -m.Index.Discharge(m.Values)
	if !(into > 0) {
		return math.NaN()
	}
	return share * full / into
}

func orUnknown(s run.Supply) string {
	if s == run.SupplyUnknown {
		return "an unknown supply"
	}
	return string(s)
}

func plugText(s run.Supply) string {
	if s == run.Mains {
		return "plug it in"
	}
	return "unplug it"
}
