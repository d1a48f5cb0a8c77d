package analysis

import "math"

// enoughInterval is the 95 % interval of the smallest setting that reaches the given
// share (0 to 1] of the best, by multiple comparisons with the best. With
//
//	q = q1(0.95; m-1, least nu),  se_ij = sqrt(v_i + v_j),
//	U_j = min_i (z_j - z_i + q se_ij),  G = {j: U_j > 0},
//	L_j = min over i in G, i != j, of (z_j - z_i - q se_ij),  0 where G is j alone,
//
// ln(value/best) of setting j lies between L_j and U_j, of all settings together: so
// the setting sought is no lower than the first with U_j >= ln share, and no higher than
// the first with L_j >= ln share. low and high are indices into e; high is len(e) where no
// setting is surely enough, and ok is false for fewer than two settings or without noise.
//
// What it covers, and how wide it is: TestStudyEnough.
// [Hsu 1984; Edwards & Hsu 1983]
func enoughInterval(e []estimate, share float64) (low, high int, ok bool) {
	critical := bestCritical(e)
	if math.IsNaN(critical) {
		return 0, 0, false
	}
	upper, lower := bestBounds(e, critical)
	low, high = len(e), len(e)
	for j := len(e) - 1; j >= 0; j-- {
		if upper[j] >= math.Log(share) {
			low = j
		}
		if lower[j] >= math.Log(share) {
			high = j
		}
	}
	return low, high, low < len(e)
}

// bestBounds are U and L of enoughInterval.
func bestBounds(e []estimate, critical float64) (upper, lower []float64) {
	upper, lower = make([]float64, len(e)), make([]float64, len(e))
	for j := range e {
		upper[j] = math.Inf(1)
		for i := range e {
			if i != j {
				upper[j] = min(upper[j], e[j].z-e[i].z+critical*math.Sqrt(e[i].v+e[j].v))
			}
		}
	}
	for j := range e {
		for i := range e {
			if i != j && upper[i] > 0 {
				lower[j] = min(lower[j], e[j].z-e[i].z-critical*math.Sqrt(e[i].v+e[j].v))
			}
		}
	}
	return upper, lower
}

// within sets the interval, from setting low to setting high of e, and moves the point
// into it.
func (x *Enough) within(e []estimate, low, high int) {
	x.FromW = Number(e[low].watts)
	x.AtW = max(x.AtW, x.FromW)
	if high < len(e) {
		x.ToW = Number(e[high].watts)
		x.AtW = min(x.AtW, x.ToW)
	}
}
