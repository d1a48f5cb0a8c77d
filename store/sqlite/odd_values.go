package sqlite

import (
	"math"

	"sweepd/run"
)

// maxStored is far above the longest text of a run that any version stored, in bytes.
const maxStored = 64 * 1024

// odd are the parts of a run that have values which no version stored, and which would
// make every list of runs fail, or endless. A checksum does not tell: whoever wrote them
// may have written it too.
func (r *runReader) odd(i int) (odd partSet) {
	one := &r.runs[i]
	d, read := one.Discharge, one.SettingRead
	odd[partRow] = oddNumber(one.DurationS, one.PackageW, one.SystemW, one.StartCelsius, one.StartCharge, one.EndCharge, one.WholeS) ||
		d != nil && oddNumber(d.Watts, d.UncertaintyWatts, d.FromPowerWatts, d.FromEnergyWatts) ||
		oddText(one.ID, one.Device, one.Workload, string(one.Variant), string(one.Supply), one.Setting.Name(), string(one.Setting.Source), one.Why, one.Note) ||
		read != nil && oddText(read.Name(), string(read.Source))
	for name, x := range one.Results {
		odd[partResults] = odd[partResults] || oddNumber(&x.Value) || oddText(name, x.Unit, string(x.Better))
	}
	for _, f := range one.Findings {
		odd[partFindings] = odd[partFindings] || oddText(string(f.Code), f.Text)
	}
	for name, value := range one.Facts {
		odd[partFacts] = odd[partFacts] || oddText(name, value)
	}
	if r.others == nil {
		return odd
	}
	x := &r.others[i]
	odd[partRow] = odd[partRow] || oddNumber(x.warmUpS, x.loadEndS)
	for _, y := range x.summaries {
		odd[partSummaries] = odd[partSummaries] || oddText(y.Sensor, y.Instance, y.Unit) ||
			oddNumber(y.Mean, y.Min, y.Max, y.P95, y.First, y.Last, y.EnergyJoules, y.SteadyMean, y.LoadMean)
	}
	for _, y := range x.history.Results {
		odd[partHistory] = odd[partHistory] || oddNumber(&y.Result.Value) || oddText(y.Name, y.Result.Unit)
	}
	for _, y := range x.history.Decisions {
		odd[partHistory] = odd[partHistory] || oddText(y.Why)
	}
	for _, y := range x.history.Corrections {
		odd[partHistory] = odd[partHistory] || oddText(y.Batch, y.Who, y.Why, y.Undoes, string(y.What), y.Name, y.Old, y.New)
	}
	return odd
}

func oddNumber(numbers ...*float64) bool {
	for _, p := range numbers {
		if p != nil && (math.IsNaN(*p) || math.IsInf(*p, 0)) {
			return true
		}
	}
	return false
}

func oddText(texts ...string) bool {
	for _, text := range texts {
		if len(text) > maxStored {
			return true
		}
	}
	return false
}

// withoutOddTexts are labels that can be shown.
func withoutOddTexts(l run.Labels) run.Labels {
	for _, text := range []*string{&l.Device, &l.Workload, (*string)(&l.Variant), (*string)(&l.Supply), (*string)(&l.Setting.Source)} {
		*text = shortened(*text)
	}
	if name := l.Setting.Name(); oddText(name) {
		l.Setting.Setting = run.Named(shortened(name))
	}
	return l
}

func shortened(text string) string {
	if oddText(text) {
		return run.Shorten(text[:maxStored])
	}
	return text
}
