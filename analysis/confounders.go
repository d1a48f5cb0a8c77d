package analysis

import (
	"maps"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"

	"sweepd/run"
)

// When a difference between the sides is worth a sentence.
const (
	notableDuration    = 0.05          // relative difference of mean durations; common practice, no source
	notableTemperature = 2.0           // kelvin between mean start temperatures; common practice, no source
	notableTimeOfDay   = 2 * time.Hour // between mean times of day; common practice, no source
	notableCharge      = 0.1           // difference of mean charge; common practice, no source
	notableShare       = 0.2           // difference of the shares of runs with a finding; common practice, no source
	confounderLevel    = 0.01          // significance of tests for drift and for differences of means
)

// confounders lists what else differs between the sides and could explain the
// difference.
func (c *comparisonBuilder) confounders(p pair, nameA, nameB string) []Note {
	a, b := describeSide(&c.a, nameA), describeSide(&c.b, nameB)
	if len(a.runs) == 0 || len(b.runs) == 0 {
		return nil
	}
	list := slices.Concat(
		apartInTime(a, b),
		differentDuration(a, b, c.metric),
		differentTemperature(a, b),
		differentTimeOfDay(a, b),
		differentCharge(a, b),
		differentFindings(a, b),
		differentFacts(a, b, p.a.Device != p.b.Device),
		differentUnits(a, b, c.metric.name),
	)
	if c.req.At == AtSystem || c.req.Per == AtSystem {
		list = append(list, differentWattsSources(a, b)...)
	}
	for _, s := range []*sideFacts{a, b} {
		if p.a.Device != p.b.Device {
			list = append(list, movesBetweenPasses(s)...)
		}
		if len(c.blocks) == 0 { // blocks take a drift out
			list = append(list, drifts(s)...)
			list = append(list, movesBetweenDays(s.name, s.side.runs, s.samples)...)
		}
	}
	return list
}

// sideFacts is what a side's runs say besides their results.
type sideFacts struct {
	*side
	name string
	runs []*run.Run // those in the cells
}

func describeSide(s *side, name string) *sideFacts {
	f := &sideFacts{side: s, name: name}
	for _, i := range s.usedRuns() {
		f.runs = append(f.runs, &s.runs[i])
	}
	return f
}

// values collects a number from the runs that have it.
func (f *sideFacts) values(take func(*run.Run) (float64, bool)) []float64 {
	var list []float64
	for _, r := range f.runs {
		if v, ok := take(r); ok && finite(v) {
			list = append(list, v)
		}
	}
	return list
}

// apartInTime tells if one side had ended before the other began.
func apartInTime(a, b *sideFacts) []Note {
	firstA, lastA, okA := a.span()
	firstB, lastB, okB := b.span()
	if !okA || !okB {
		return nil
	}
	switch {
	case lastA.Before(firstB):
		return []Note{{Code: ConfounderApart, A: NoteSide{Side: a.name}, B: NoteSide{Side: b.name}}}
	case lastB.Before(firstA):
		return []Note{{Code: ConfounderApart, A: NoteSide{Side: b.name}, B: NoteSide{Side: a.name}}}
	}
	return nil
}

func (f *sideFacts) span() (first, last time.Time, ok bool) {
	for _, r := range f.runs {
		if r.StartedAt.IsZero() {
			continue
		}
		if !ok || r.StartedAt.Time.Before(first) {
			first = r.StartedAt.Time
		}
		if !ok || r.StartedAt.Time.After(last) {
			last = r.StartedAt.Time
		}
		ok = true
	}
	return first, last, ok
}

// differentDuration says nothing of workloads whose time is their result: there
// the runs last as long as the work takes.
func differentDuration(a, b *sideFacts, metric metricInfo) []Note {
	if metric.lower && metric.unit == "s" {
		return nil
	}
	duration := func(r *run.Run) (float64, bool) { return r.Seconds(), r.Seconds() > 0 }
	da, db := a.values(duration), b.values(duration)
	if len(da) == 0 || len(db) == 0 {
		return nil
	}
	ma, mb := stat.Mean(da, nil), stat.Mean(db, nil)
	if math.Abs(math.Log(ma/mb)) <= math.Log1p(notableDuration) {
		return nil
	}
	return []Note{{Code: ConfounderDurations, A: NoteSide{Side: a.name, Mean: Number(ma)}, B: NoteSide{Side: b.name, Mean: Number(mb)}}}
}

// differentTemperature compares the temperatures at the start.
func differentTemperature(a, b *sideFacts) []Note {
	start := func(r *run.Run) (float64, bool) { return deref(r.StartCelsius) }
	ta, tb := a.values(start), b.values(start)
	if len(ta) < 2 || len(tb) < 2 {
		return nil
	}
	ma, mb := stat.Mean(ta, nil), stat.Mean(tb, nil)
	if math.Abs(ma-mb) < notableTemperature || !(welchP(ta, tb) < confounderLevel) {
		return nil
	}
	return []Note{{Code: ConfounderStartTemperatures, A: NoteSide{Side: a.name, Mean: Number(ma)}, B: NoteSide{Side: b.name, Mean: Number(mb)}}}
}

// welchP is the two-sided p of Welch's t test; 0 where neither sample varies but
// their means differ. [Welch 1947]
func welchP(x, y []float64) float64 {
	mx, vx := stat.MeanVariance(x, nil)
	my, vy := stat.MeanVariance(y, nil)
	nx, ny := float64(len(x)), float64(len(y))
	e := contrast{meanA: mx, meanB: my, va: vx / nx, vb: vy / ny, nuA: nx - 1, nuB: ny - 1}
	e.measure()
	switch {
	case e.se > 0:
		return 2 * studentUpper(math.Abs(e.d)/e.se, e.nu)
	case e.d == 0:
		return 1
	}
	return 0
}

// differentTimeOfDay compares the mean directions of the start times on the
// clock's circle (UTC). [mean direction: Mardia & Jupp 2000, 2.2.1]
func differentTimeOfDay(a, b *sideFacts) []Note {
	ta, okA := a.timeOfDay()
	tb, okB := b.timeOfDay()
	if !okA || !okB {
		return nil
	}
	apart := (ta - tb).Abs()
	apart = min(apart, 24*time.Hour-apart)
	if apart <= notableTimeOfDay {
		return nil
	}
	return []Note{{Code: ConfounderTimesOfDay, A: NoteSide{Side: a.name, TimeOfDay: ta}, B: NoteSide{Side: b.name, TimeOfDay: tb}}}
}

func (f *sideFacts) timeOfDay() (time.Duration, bool) {
	const day = 24 * time.Hour
	sin, cos := 0.0, 0.0
	for _, r := range f.runs {
		if r.StartedAt.IsZero() {
			continue
		}
		t := r.StartedAt.UTC()
		s, c := math.Sincos(2 * math.Pi * float64(t.Sub(t.Truncate(day))) / float64(day))
		sin, cos = sin+s, cos+c
	}
	if math.Hypot(sin, cos) < 1e-9 {
		return 0, false // no times, or spread evenly over the day
	}
	angle := math.Atan2(sin, cos)
	if angle < 0 {
		angle += 2 * math.Pi
	}
	return time.Duration(angle / (2 * math.Pi) * float64(day)), true
}

func differentCharge(a, b *sideFacts) []Note {
	charge := func(r *run.Run) (float64, bool) { return deref(r.StartCharge) }
	ca, cb := a.values(charge), b.values(charge)
	if len(ca) == 0 || len(cb) == 0 {
		return nil
	}
	ma, mb := stat.Mean(ca, nil), stat.Mean(cb, nil)
	if math.Abs(ma-mb) < notableCharge {
		return nil
	}
	return []Note{{Code: ConfounderCharges, A: NoteSide{Side: a.name, Mean: Number(ma)}, B: NoteSide{Side: b.name, Mean: Number(mb)}}}
}

// differentFindings tells which findings, such as charging or hot_start, are
// more frequent on one side.
func differentFindings(a, b *sideFacts) []Note {
	count := func(f *sideFacts) map[string]int {
		counts := make(map[string]int)
		for _, r := range f.runs {
			codes := map[run.Code]bool{}
			for _, f := range r.Findings {
				codes[f.Code] = true
			}
			for code := range codes {
				counts[string(code)]++
			}
		}
		return counts
	}
	inA, inB := count(a), count(b)
	codes := maps.Clone(inA)
	maps.Copy(codes, inB)
	var list []Note
	for _, code := range slices.Sorted(maps.Keys(codes)) {
		shareA, shareB := float64(inA[code])/float64(len(a.runs)), float64(inB[code])/float64(len(b.runs))
		if math.Abs(shareA-shareB) >= notableShare && max(inA[code], inB[code]) >= 2 {
			list = append(list, Note{Code: ConfounderFindings, Name: code,
				A: NoteSide{Side: a.name, Count: inA[code], Of: len(a.runs)}, B: NoteSide{Side: b.name, Count: inB[code], Of: len(b.runs)}})
		}
	}
	return list
}

// differentWattsSources tells if one side's watts of the whole device are those of a meter
// outside it, losses of the charger among them, and the other's those of its battery.
func differentWattsSources(a, b *sideFacts) []Note {
	inA, inB := countExternal(a.runs), countExternal(b.runs)
	if math.Abs(float64(inA)/float64(len(a.runs))-float64(inB)/float64(len(b.runs))) < notableShare {
		return nil
	}
	return []Note{{Code: ConfounderWattsSources,
		A: NoteSide{Side: a.name, Count: inA, Of: len(a.runs)}, B: NoteSide{Side: b.name, Count: inB, Of: len(b.runs)}}}
}

// countExternal counts the runs whose system watts are those of an external meter.
func countExternal(runs []*run.Run) (n int) {
	for _, r := range runs {
		if r.SystemWSource == run.FromExternal {
			n++
		}
	}
	return n
}

func differentUnits(a, b *sideFacts, metric string) []Note {
	units := func(f *sideFacts) []string {
		seen := make(map[string]bool)
		last := ""
		for i, r := range f.runs {
			if unit := r.Results[metric].Unit; i == 0 || unit != last {
				seen[unit] = true
				last = unit
			}
		}
		return slices.Sorted(maps.Keys(seen))
	}
	inA, inB := units(a), units(b)
	if slices.Equal(inA, inB) {
		return nil
	}
	return []Note{{Code: ConfounderUnits, Metric: metric, A: NoteSide{Side: a.name, Values: inA}, B: NoteSide{Side: b.name, Values: inB}}}
}
