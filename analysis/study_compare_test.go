package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"sweepd/run"
)

// campaign simulates the runs of two sides at studyWatts.
type campaign struct {
	n          int
	cv         float64                           // relative SD of one run
	difference func(w float64) float64           // true ln(a/b)
	slow       bool                              // 4 % of runs are slowed by 4 to 10 %
	falling    bool                              // the SD falls from 4 to 1 along the settings
	drift      int                               // 1: one device, shared order; 2: two devices, each its day
	watts      []float64                         // nil: studyWatts
	noise      func(rng *rand.Rand) float64      // of SD 1; nil: normal
	curve      func(side int, w float64) float64 // nil: studyCurve
}

// Sides of a simulated campaign.
const (
	sideA = iota
	sideB
)

func (c campaign) runs(rng *rand.Rand) []run.Run {
	watts := c.watts
	if watts == nil {
		watts = studyWatts
	}
	drifts := [2]func(i int) float64{c.day(rng, 2*c.n*len(watts)), c.day(rng, c.n*len(watts))}
	if c.drift != 1 {
		drifts[sideA] = c.day(rng, c.n*len(watts))
	}
	var runs []run.Run
	made := [2]int{}
	for range c.n {
		for _, place := range rng.Perm(2 * len(watts)) { // every cell of both sides once per pass, in random order
			side, j := place%2, place/2
			z := c.result(rng, side, j, watts)
			if c.drift == 1 {
				z += drifts[sideA](len(runs))
			} else {
				z += drifts[side](made[side])
			}
			made[side]++
			run := run.Run{
				ID: fmt.Sprint(len(runs)), Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Setting: run.Watts(watts[j]).From(run.Declared), Supply: "mains"},
				StartedAt: run.Timestamp{Time: studyStart.Add(time.Duration(len(runs)) * time.Minute)}, DurationS: new(60.0),
				Results: map[string]run.Result{"score": {Value: math.Exp(z)}},
			}
			switch {
			case c.drift == 1 && side == sideA:
				run.Supply = "battery"
			case c.drift != 1 && side == sideB:
				run.Device = "unit-elm"
			}
			runs = append(runs, run)
		}
	}
	return runs
}

// result is ln of one run's result.
func (c campaign) result(rng *rand.Rand, side, j int, watts []float64) float64 {
	curve := c.curve
	if curve == nil {
		curve = func(_ int, w float64) float64 { return studyCurve(w) }
	}
	z := curve(side, watts[j])
	if side == sideA && c.difference != nil {
		z += c.difference(watts[j])
	}
	sd := c.cv
	if c.falling {
		sd *= fallingSD(j, len(watts))
	}
	if c.noise != nil {
		z += sd * c.noise(rng)
	} else {
		z += sd * rng.NormFloat64()
	}
	if c.slow && rng.Float64() < 0.04 {
		z += math.Log1p(-(0.04 + 0.06*rng.Float64()))
	}
	return z
}

// fallingSD falls log-linearly from 4 to 1 along the settings, with mean square 1.
func fallingSD(j, m int) float64 {
	relative := func(j int) float64 { return math.Pow(4, 1-float64(j)/float64(m-1)) }
	sum := 0.0
	for k := range m {
		sum += relative(k) * relative(k)
	}
	return relative(j) / math.Sqrt(sum/float64(m))
}

// day is the drift of a device over the runs of its day: a slow random walk back
// to its mean, warming up, and a trend.
func (c campaign) day(rng *rand.Rand, runs int) func(i int) float64 {
	if c.drift == 0 {
		return func(int) float64 { return 0 }
	}
	const phi, sd = 0.97, 0.008
	trend := 0.01 * (2*rng.Float64() - 1)
	state := sd * rng.NormFloat64()
	at := make([]float64, runs)
	for i := range at {
		at[i] = state - 0.02*math.Exp(-float64(i)/8) + trend*float64(i)/float64(runs)
		state = phi*state + sd*math.Sqrt(1-phi*phi)*rng.NormFloat64()
	}
	return func(i int) float64 { return at[i] }
}

// compare runs the campaign once and compares its sides.
func (c campaign) compare(t *testing.T, rng *rand.Rand) Comparison {
	t.Helper()
	req := CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"}
	if c.drift == 1 {
		req = CompareRequest{By: "supply"}
	}
	return compareOne(t, c.runs(rng), req)
}

func wins(c Comparison) (won int) {
	for _, s := range c.Settings {
		if s.Verdict == VerdictA || s.Verdict == VerdictB {
			won++
		}
	}
	return won
}

func ties(c Comparison) (tied int) {
	for _, s := range c.Settings {
		if s.Verdict == VerdictTie {
			tied++
		}
	}
	return tied
}

// holds tells whether all bounds hold the true ln(a/b).
func holds(c Comparison, truth float64) bool {
	for _, s := range c.Settings {
		if !(s.Lower <= relative(truth) && s.Upper >= relative(truth)) {
			return false
		}
	}
	return true
}

// publishedCompare are the published operating characteristics of compare.
var publishedCompare = []struct {
	n                                                 int
	cv                                                float64 // percent
	null, slow, noise, drift1, drift2, edge, cover    float64
	half, power, powerSlow, tie, overall              float64
	found, crossingError, crossingCover, crossingWide float64
}{
	{1, 0.5, .004, .035, .040, .004, .108, .003, .982, 2.52, .71, .45, .03, 1.00, .73, 0.60, .976, 3.9},
	{1, 1, .005, .031, .046, .005, .051, .000, .984, 5.06, .09, .06, .00, 1.00, .58, 1.27, .960, 6.9},
	{1, 2, .009, .015, .048, .005, .014, .000, .977, 10.07, .01, .01, .00, .65, .01, 2.20, .907, 8.9},
	{2, 0.5, .065, .082, .102, .053, .178, .033, .932, 1.66, .97, .82, .50, 1.00, 1.00, 0.41, .949, 2.3},
	{2, 1, .052, .121, .123, .061, .138, .001, .948, 3.31, .39, .28, .00, 1.00, .99, 0.91, .954, 5.2},
	{2, 2, .058, .100, .123, .062, .086, .000, .943, 6.64, .06, .04, .00, .98, .23, 1.76, .965, 10.5},
	{3, 0.5, .044, .032, .045, .054, .248, .021, .954, 1.32, 1.00, .78, .86, 1.00, 1.00, 0.34, .953, 1.8},
	{3, 1, .053, .061, .059, .051, .183, .000, .947, 2.64, .65, .47, .00, 1.00, 1.00, 0.72, .958, 4.1},
	{3, 2, .051, .081, .067, .049, .105, .000, .949, 5.29, .10, .07, .00, 1.00, .62, 1.49, .970, 9.0},
	{5, 0.5, .024, .007, .032, .049, .283, .026, .947, 1.01, 1.00, .72, .99, 1.00, 1.00, 0.27, .952, 1.4},
	{5, 1, .042, .039, .042, .051, .211, .019, .959, 2.02, .92, .65, .08, 1.00, 1.00, 0.53, .959, 3.1},
	{5, 2, .050, .054, .054, .053, .121, .000, .950, 4.03, .22, .15, .00, 1.00, .97, 1.15, .970, 6.6},
}

// threeCrossings is the true difference with three crossings, and its zeros.
func threeCrossings(w float64) float64 {
	first, last := studyWatts[0], studyWatts[len(studyWatts)-1]
	return 0.06 * math.Cos(3*math.Pi*math.Log(w/first)/math.Log(last/first))
}

func trueCrossings() []float64 {
	first, last := studyWatts[0], studyWatts[len(studyWatts)-1]
	at := make([]float64, 3)
	for i := range at {
		at[i] = first * math.Pow(last/first, float64(2*i+1)/6)
	}
	return at
}

// TestStudyCompare simulates campaigns and checks the chance of false verdicts,
// coverage, widths, power and crossings against the published table.
func TestStudyCompare(t *testing.T) {
	t.Parallel()
	campaigns := studySize(200)
	table := &studyTable{t: t}
	for i, p := range publishedCompare {
		if !*studyFull && p.cv != 1 {
			continue
		}
		row := compareStudy{t, i, campaigns, p.n, p.cv / 100}
		proportion := func(name string, got, published float64, decimals int) figure {
			return figure{name, got, published, proportionTolerance(published, campaigns), decimals}
		}
		cover, half, tie, overall, null := row.nullFigures()
		figures := []figure{
			proportion("null", null, p.null, 3),
			proportion("slow", row.falseWins(1, campaign{slow: true}), p.slow, 3),
			proportion("noise", row.falseWins(2, campaign{falling: true}), p.noise, 3),
			proportion("drift1", row.falseWins(3, campaign{drift: 1}), p.drift1, 3),
			proportion("drift2", row.falseWins(4, campaign{drift: 2}), p.drift2, 3),
			proportion("edge", row.falseTies(), p.edge, 3),
			proportion("cover", cover, p.cover, 3),
			{"half", half, p.half, 0.05 * p.half, 2},
			proportion("pow", row.found(6, false), p.power, 2),
			proportion("pow-slow", row.found(7, true), p.powerSlow, 2),
			proportion("tie", tie, p.tie, 2),
			proportion("overall", overall, p.overall, 2),
		}
		found, miss, covered, wide := row.crossings()
		figures = append(figures, proportion("found", found, p.found, 2))
		if p.found >= 0.2 {
			figures = append(figures,
				figure{"err W", miss, p.crossingError, 0.3, 2},
				proportion("cover", covered, p.crossingCover, 3),
				figure{"width W", wide, p.crossingWide, 0.05*p.crossingWide + 0.05, 1}) // published to one decimal
		}
		table.row(fmt.Sprintf("n %d CV %g %%", p.n, p.cv), figures)
	}
	table.print("compare: operating characteristics")
}

// compareStudy is one row of the table.
type compareStudy struct {
	t         *testing.T
	row       int
	campaigns int
	n         int
	cv        float64
}

// each simulates the row's campaigns of one column.
func (s compareStudy) each(column int, c campaign, visit func(Comparison)) {
	c.n, c.cv = s.n, s.cv
	rng := studyRandom(s.row, column)
	for range s.campaigns {
		visit(c.compare(s.t, rng))
	}
}

func (s compareStudy) nullFigures() (cover, half, tie, overall, null float64) {
	s.each(0, campaign{}, func(c Comparison) {
		if holds(c, 0) {
			cover++
		}
		if wins(c) > 0 {
			null++
		}
		for _, x := range c.Settings {
			half += 100 * float64(x.Upper-x.Lower) / 2 / float64(len(c.Settings))
		}
		tie += float64(ties(c)) / float64(len(c.Settings))
		if c.Overall.Verdict == VerdictTie {
			overall++
		}
	})
	b := float64(s.campaigns)
	return cover / b, half / b, tie / b, overall / b, null / b
}

func (s compareStudy) falseWins(column int, c campaign) float64 {
	wrong := 0.0
	s.each(column, c, func(c Comparison) {
		if wins(c) > 0 {
			wrong++
		}
	})
	return wrong / float64(s.campaigns)
}

func (s compareStudy) falseTies() float64 {
	wrong := 0.0
	s.each(5, campaign{difference: func(float64) float64 { return math.Log(1.02) }}, func(c Comparison) {
		if ties(c) > 0 {
			wrong++
		}
	})
	return wrong / float64(s.campaigns)
}

func (s compareStudy) found(column int, slow bool) float64 {
	share := 0.0
	s.each(column, campaign{slow: slow, difference: func(float64) float64 { return math.Log(1.03) }}, func(c Comparison) {
		for _, x := range c.Settings {
			if x.Verdict == VerdictA {
				share += 1 / float64(len(c.Settings))
			}
		}
	})
	return share / float64(s.campaigns)
}

func (s compareStudy) crossings() (found, miss, cover, width float64) {
	truth := trueCrossings()
	s.each(8, campaign{difference: threeCrossings}, func(c Comparison) {
		if len(c.Crossings) != len(truth) {
			return
		}
		found++
		for i, x := range c.Crossings {
			miss += math.Abs(float64(x.AtW) - truth[i])
			width += float64(x.UpperW - x.LowerW)
			if float64(x.LowerW) <= truth[i] && float64(x.UpperW) >= truth[i] {
				cover++
			}
		}
	})
	each := found * float64(len(truth))
	return found / float64(s.campaigns), miss / each, cover / each, width / each
}

// TestStudyMoreRuns plans campaigns of 20 settings from a pilot with two runs in
// every cell and simulates what they find of a 3 % difference. Published mean
// power for CV 0.5, 1, 2, 3 %: .99, .84, .79, .78.
func TestStudyMoreRuns(t *testing.T) {
	t.Parallel()
	campaigns := studySize(60)
	table := &studyTable{t: t}
	planner := newRunPlanner(20, 20, 0.95)
	for i, p := range []struct{ cv, power float64 }{{0.5, .99}, {1, .84}, {2, .79}, {3, .78}} {
		if !*studyFull && p.cv > 1 {
			continue
		}
		rng, found := studyRandom(700+i, 0), 0.0
		c := campaign{cv: p.cv / 100, difference: func(float64) float64 { return math.Log(1.03) }}
		for range campaigns {
			c.n = 2
			pilot := c.compare(t, rng).Settings[0]
			c.n = planner.smallest(2*float64(pilot.SE*pilot.SE), plannedPowerZ, math.Log1p(plannedDifference))
			x := c.compare(t, rng)
			for _, s := range x.Settings {
				if s.Verdict == VerdictA {
					found += 1 / float64(len(x.Settings))
				}
			}
		}
		table.row(fmt.Sprintf("CV %g %%", p.cv), []figure{
			{"pow", found / float64(campaigns), p.power, proportionTolerance(p.power, campaigns), 2}})
	}
	table.print("more_runs: share of a 3 % difference found when planned from a pilot")
}
