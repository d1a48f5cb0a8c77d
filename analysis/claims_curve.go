package analysis

import "slices"

// claim is one on the curve, still to be filled in.
func (g *CurveGroup) claim(kind, metric string) Claim {
	return Claim{
		Kind: kind, Metric: metric, Workload: g.Workload, Device: &g.Device, Supply: &g.Supply, Variant: &g.Variant, At: AtSetting,
		AtW: Unknown(), FromW: Unknown(), ToW: Unknown(), Diff: Unknown(), Lower: Unknown(), Upper: Unknown(),
	}
}

// rangeClaims are the floor and the cap of a curve.
func (g *CurveGroup) rangeClaims(metric string) []Claim {
	var list []Claim
	e := g.Effective
	say := func(kind string, at Number, ignored func(watts Number) bool) {
		k := g.claim(kind, metric)
		k.AtW, k.Source = at, e.Source
		for _, p := range g.Points {
			if ignored(p.SettingW) {
				if !k.FromW.Known() {
					k.FromW = p.SettingW
				}
				k.ToW = p.SettingW
			}
		}
		list = append(list, k)
	}
	if e.CapW.Known() {
		say(ClaimCap, e.CapW, func(w Number) bool { return w > e.ToW })
	}
	if e.FloorW.Known() {
		say(ClaimFloor, e.FloorW, func(w Number) bool { return w < e.FromW })
	}
	return list
}

// trendTests counts the tests of departures of a curve.
func (c *curveGroup) trendTests() (tests int) {
	c.testTrend(func(points []trendPoint, levels trendNoise) []departure {
		if len(points) >= leastForTrend {
			active := allIndices(len(points))
			_, tests = worstSetting(points, active, levels(active))
		}
		return nil
	})
	return tests
}

// testTrend gives a test of departures the curve, and what it finds.
func (c *curveGroup) testTrend(test departureTest) []departure {
	o := c.noiseOptions()
	if o.departures == nil {
		return nil
	}
	o.departures = test
	return estimateNoise(c.samples, o).departed
}

// trendClaims are the dips and the fall of a curve, where so many tests are made on the
// other curves of the page. One run alone claims nothing: a setting with one run does
// only where its neighbour departs as well.
func (g *CurveGroup) trendClaims(metric string, others int) []Claim {
	c := g.made
	found := map[int]departure{}
	for _, d := range c.testTrend(departuresAmong(others)) {
		found[d.setting] = d
	}
	departs := func(j int) bool { _, ok := found[j]; return ok }
	claimed := func(j int) bool {
		return departs(j) && (c.samples[j].n() > 1 || departs(j-1) || departs(j+1))
	}
	last := len(c.samples) - 1
	fallen := last // the last setting before the fall
	for fallen > 0 && claimed(fallen) {
		fallen--
	}
	var list []Claim
	for j := range fallen {
		if claimed(j) {
			k := g.claim(ClaimDip, metric)
			k.set(c.samples[j], c.samples[j])
			k.AtW = k.FromW
			k.depart(found[j])
			list = append(list, k)
		}
	}
	if fallen < last {
		k := g.claim(ClaimFall, metric)
		k.set(c.samples[fallen], c.samples[last])
		deepest := slices.MinFunc(allIndices(last-fallen), func(a, b int) int {
			if found[fallen+1+a].change < found[fallen+1+b].change {
				return -1
			}
			return 1
		})
		k.depart(found[fallen+1+deepest])
		list = append(list, k)
	}
	return list
}

// set says from which setting to which a claim is.
func (k *Claim) set(from, to sample) {
	k.FromW, k.From, k.ToW, k.To = Number(from.watts), from.name, Number(to.watts), to.name
}

// depart says by how much a setting lies off the trend.
func (k *Claim) depart(d departure) {
	k.Diff, k.Lower, k.Upper = Number(d.change), Number(d.lower), Number(d.upper)
}
