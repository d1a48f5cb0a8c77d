package sentence

import "sweepd/analysis"

// Enough says which setting gives a share of the best result, as far as it can be told. It
// is empty where that is unknown.
func Enough(g *analysis.CurveGroup) string {
	e := &g.Enough
	if !e.AtW.Known() {
		return ""
	}
	share := Fixed(100*e.Share, 0) + " % of the best "
	from, to := Watts(float64(e.FromW)), Watts(float64(e.ToW))
	switch {
	case !e.FromW.Known(): // there is no noise to tell by
		return Watts(float64(e.AtW)) + " W is enough for " + share + "result."
	case !e.ToW.Known():
		return share + "needs at least " + from + " W; more runs would say how much."
	case from == to:
		return share + "needs " + from + " W."
	}
	return share + "needs " + from + " to " + to + " W."
}

// widestEnough is the part of the tested range above which the interval of enough says too
// little to be said at the top.
const widestEnough = 1.0 / 3

// enoughTold tells whether what is enough is known well enough for the top of a page.
func enoughTold(g *analysis.CurveGroup) bool {
	e := &g.Enough
	if !e.FromW.Known() {
		return false
	}
	tested := g.Points[len(g.Points)-1].SettingW - g.Points[0].SettingW
	return !e.ToW.Known() || e.ToW-e.FromW <= widestEnough*tested
}
