package analysis

import (
	"math"
	"slices"

	"sweepd/run"
)

// comparisonBuilder takes one comparison from runs to verdicts.
type comparisonBuilder struct {
	req       CompareRequest
	metric    metricInfo
	a, b      side
	lower     bool // less is better
	contrasts []contrast
	overall   effect
	followed  effect    // the same over the settings that both sides follow; d is NaN where there are none
	joint     bool      // neighbouring differences share measured points, so their errors are not independent
	blocks    []float64 // shifts of the passes, taken out; none: no blocks
	family    int       // settings adjusted together
	notes     []Note
}

// leastNu is the fewest degrees of freedom with which bounds are given.
const leastNu = 2.0

func newComparisonBuilder(runs []run.Run, groups map[Group][]int, p pair, metric metricInfo, req CompareRequest) *comparisonBuilder {
	c := &comparisonBuilder{req: req, metric: metric}
	quantity, lower := quantityOf(metric, req.Per)
	c.lower = lower
	if req.At != AtSetting {
		quantity = withPower(quantity, powerOf[req.At])
	}
	c.a = side{runs: runs, indices: groups[p.a]}
	c.b = side{runs: runs, indices: groups[p.b]}
	for _, s := range []*side{&c.a, &c.b} {
		s.samples, s.left = buildSamples(runs, s.indices, quantity)
	}
	var spent float64
	c.blocks, spent = removeBlocks(&c.a, &c.b, p.a.Device == p.b.Device)
	c.a.estimateNoise(req, lower, spent)
	c.b.estimateNoise(req, lower, spent)
	if req.At == AtSetting {
		c.contrastSettings()
	} else {
		c.contrastAligned()
	}
	return c
}

// contrastSettings compares the sides at equal settings.
func (c *comparisonBuilder) contrastSettings() {
	borrowed := false
	forBoth(c.a.samples, c.b.samples, func(i, j int) {
		k := contrast{meanA: math.NaN(), meanB: math.NaN(), va: math.NaN(), vb: math.NaN()}
		var a, b settingNoise
		if i >= 0 {
			k.fillA(c.a.samples[i])
			a = c.a.noise.settings[i]
		}
		if j >= 0 {
			k.fillB(c.b.samples[j])
			b = c.b.noise.settings[j]
		}
		if k.shared() {
			switch {
			case a.source == NoiseNone && b.source != NoiseNone:
				a, borrowed = b, true
			case b.source == NoiseNone && a.source != NoiseNone:
				b, borrowed = a, true
			}
			k.va, k.nuA = a.v/float64(k.nA), a.nu
			k.vb, k.nuB = b.v/float64(k.nB), b.nu
			k.perRun = a.v + b.v
		}
		k.measure()
		c.contrasts = append(c.contrasts, k)
	})
	if borrowed {
		c.note(Note{Code: NoteNoiseBorrowed})
	}
	c.placeSettings()
	c.markFollowed()
	c.overall = meanContrast(c.contrasts, func(*contrast) bool { return true })
	c.followed = meanContrast(c.contrasts, (*contrast).counts)
}

// placeSettings puts the contrasts on one axis: ln watts, or 1, 2, ... where one
// has only a name.
func (c *comparisonBuilder) placeSettings() {
	settings := make([]run.Setting, len(c.contrasts))
	for i, k := range c.contrasts {
		settings[i] = settingAt(k.watts, k.name)
	}
	for i, x := range positions(settings) {
		c.contrasts[i].x = x
	}
}

// forBoth walks two lists of cells in order of setting; an index is -1 where a
// side lacks the setting.
func forBoth(a, b []sample, visit func(i, j int)) {
	i, j := 0, 0
	for i < len(a) || j < len(b) {
		order := 0
		switch {
		case i == len(a):
			order = 1
		case j == len(b):
			order = -1
		default:
			order = run.Setting.Compare(a[i].setting(), b[j].setting())
		}
		switch {
		case order < 0:
			visit(i, -1)
			i++
		case order > 0:
			visit(-1, j)
			j++
		default:
			visit(i, j)
			i, j = i+1, j+1
		}
	}
}

// sharedSettings counts the settings at which both sides have runs.
func (c *comparisonBuilder) sharedSettings() int {
	m := 0
	for i := range c.contrasts {
		if c.contrasts[i].shared() {
			m++
		}
	}
	return m
}

// sharedContrasts lists them in order.
func (c *comparisonBuilder) sharedContrasts() []*contrast {
	var list []*contrast
	for i := range c.contrasts {
		if c.contrasts[i].shared() {
			list = append(list, &c.contrasts[i])
		}
	}
	return list
}

func (c *comparisonBuilder) note(notes ...Note) {
	for _, n := range notes {
		addNote(&c.notes, n)
	}
}

// build writes down what was found.
func (c *comparisonBuilder) build(between sides, p pair) Comparison {
	shared := c.sharedContrasts()
	out := Comparison{
		Metric: c.metric.name, Unit: c.metric.unit, Better: c.metric.better(), Workload: p.a.Workload,
		Factor: between.factor, A: between.name(p.a), B: between.name(p.b),
		Device: same(p.a.Device, p.b.Device), Supply: same(p.a.Supply, p.b.Supply), Variant: same(p.a.Variant, p.b.Variant),
		At: c.req.At, Per: c.req.Per, Margin: *c.req.Margin, Confidence: c.req.Confidence, AdjustedFor: c.family,
		NoiseA: groupNoise(c.a.noise), NoiseB: groupNoise(c.b.noise),
		NoiseSourceA: c.a.noise.source, NoiseSourceB: c.b.noise.source, Blocks: len(c.blocks),
		Settings: make([]SettingComparison, len(c.contrasts)), Bands: bands(shared), Crossings: []Crossing{},
		BandsFollowed: []Band{}, CrossingsFollowed: []Crossing{},
		Flagged: c.flagged(), effect: c.followed, pair: p, made: c,
	}
	if c.req.Per != "" {
		out.Better, out.Inverted = "higher", c.metric.lower // the more of a good result for every watt, the better
	}
	for i := range c.contrasts {
		out.Settings[i] = c.contrasts[i].setting()
		out.Settings[i].PackageWA, out.Settings[i].PackageWB = c.packageWatts(&c.contrasts[i])
	}
	if len(shared) > 0 {
		if !c.named() {
			out.Crossings = crossings(shared, c.req.Confidence, c.joint)
		}
		out.Overall = c.overallOf(c.overall, c.req.Confidence)
	}
	for _, stretch := range stretches(shared) {
		out.BandsFollowed = append(out.BandsFollowed, bands(stretch)...)
		if !c.named() {
			out.CrossingsFollowed = append(out.CrossingsFollowed, crossings(stretch, c.req.Confidence, c.joint)...)
		}
		out.OverallFollowed = c.overallOf(c.followed, c.req.Confidence)
	}
	out.Confounders = nonNil(c.confounders(p, out.A, out.B))
	out.Notes = nonNil(c.collectNotes(p, out.A, out.B))
	return out
}

func (k *contrast) setting() SettingComparison {
	return SettingComparison{
		SettingW: Number(k.watts), Setting: k.name, NA: k.nA, NB: k.nB,
		MeanA: Number(math.Exp(k.meanA)), MeanB: Number(math.Exp(k.meanB)),
		Diff: relative(k.d), Lower: relative(k.lower), Upper: relative(k.upper),
		SE: Number(k.se), DF: Number(k.nu), PAdjusted: Number(k.p), Verdict: k.verdict, MoreRuns: k.more,
		Followed: k.followed,
	}
}

// packageWatts are the mean package watts of the sides at a setting, unknown where none
// of a side's runs has them, and at equal measured watts, which say it themselves.
func (c *comparisonBuilder) packageWatts(k *contrast) (a, b Number) {
	if c.req.At != AtSetting {
		return Unknown(), Unknown()
	}
	of := func(s *side) Number {
		at := slices.IndexFunc(s.samples, func(x sample) bool { return x.setting() == settingAt(k.watts, k.name) })
		if at < 0 {
			return Unknown()
		}
		mean, _ := meanPower(s.runs, s.samples[at], packagePower)
		return Number(mean)
	}
	return of(&c.a), of(&c.b)
}

// named tells whether a setting has no watts, so that nothing can be said in watts.
func (c *comparisonBuilder) named() bool {
	for i := range c.contrasts {
		if math.IsNaN(c.contrasts[i].watts) {
			return true
		}
	}
	return false
}

// overallOf is an overall difference: one planned question, so no adjustment.
func (c *comparisonBuilder) overallOf(e effect, confidence float64) *Overall {
	lower, upper := e.interval(confidence)
	return &Overall{
		Diff: relative(e.d), Lower: relative(lower), Upper: relative(upper),
		SE: Number(e.se), DF: Number(e.nu),
		Verdict: c.verdict(lower, upper, math.Log1p(*c.req.Margin)),
	}
}

// flagged names the runs of both sides that differ from their repeats. They stay
// in all numbers; only the user rejects.
func (c *comparisonBuilder) flagged() []FlaggedRun {
	list := []FlaggedRun{}
	for _, s := range []*side{&c.a, &c.b} {
		list = append(list, flaggedRuns(s.runs, s.samples, s.noise)...)
	}
	return list
}
