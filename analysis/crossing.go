package analysis

import "math"

// crossings lists where the lead changes: between two settings with verdicts a
// and b, in either order, and only ties or unclear settings between them.
func crossings(shared []*contrast, confidence float64, joint bool) []Crossing {
	list := []Crossing{}
	from := -1
	for i, k := range shared {
		if k.verdict != VerdictA && k.verdict != VerdictB {
			continue
		}
		if from >= 0 && shared[from].verdict != k.verdict {
			list = append(list, crossing(shared[from:i+1], confidence, joint))
		}
		from = i
	}
	return list
}

// crossing finds the place inside a bracket of contrasts whose ends have
// differences d of opposite sign, d being linear in x between settings. The
// interval holds every x at which d(x) = 0 is not rejected: d(x)^2 <= t^2 v(x),
// with t for the smallest degrees of freedom in the bracket. [Fieller 1954, by
// test inversion]
func crossing(bracket []*contrast, confidence float64, joint bool) Crossing {
	nu := math.Inf(1)
	for _, k := range bracket {
		if !(k.nu >= nu) { // also where it is not known
			nu = k.nu
		}
	}
	t := studentQuantile((1+confidence)/2, nu)
	zeros := zerosOf(bracket)
	low, high := math.NaN(), math.NaN()
	for j := range len(bracket) - 1 {
		from, to := bracket[j], bracket[j+1]
		for _, w := range notRejected(from, to, t, joint) {
			x := from.x + w*(to.x-from.x)
			if !(x >= low) {
				low = x
			}
			if !(x <= high) {
				high = x
			}
		}
	}
	at := zeros[(len(zeros)+1)/2-1]
	return Crossing{Number(math.Exp(at)), Number(math.Exp(low)), Number(math.Exp(high))}
}

// zerosOf lists the zeros of d in the bracket, ascending. There is at least one.
func zerosOf(bracket []*contrast) []float64 {
	var zeros []float64
	for j := range len(bracket) - 1 {
		from, to := bracket[j], bracket[j+1]
		switch {
		case from.d == 0:
			zeros = append(zeros, from.x)
		case (from.d < 0) != (to.d < 0) && to.d != 0:
			zeros = append(zeros, from.x+from.d/(from.d-to.d)*(to.x-from.x))
		}
	}
	return zeros
}

// notRejected lists the ends in [0, 1] of the stretches of one segment on which
// d = 0 is not rejected: the roots of A w^2 + B w + C = 0, and an end of the
// segment where the polynomial is not positive there. Where d itself is 0 it never is:
// with errors next to nothing, rounding may leave no root there.
//
// With independent errors v(w) = (1-w)^2 se_from^2 + w^2 se_to^2. Where the two
// differences rest on common measurements (joint) their correlation is between
// -1 and 1, and v(w) = ((1-w) se_from + w se_to)^2 is its upper bound.
func notRejected(from, to *contrast, t float64, joint bool) []float64 {
	if math.IsInf(from.se, 1) || math.IsInf(to.se, 1) { // all between its ends
		return []float64{0, 1}
	}
	step := to.d - from.d
	a := step*step - t*t*(from.se*from.se+to.se*to.se)
	b := 2*from.d*step + 2*t*t*from.se*from.se
	if joint {
		a = step*step - t*t*(to.se-from.se)*(to.se-from.se)
		b = 2*from.d*step - 2*t*t*from.se*(to.se-from.se)
	}
	c := from.d*from.d - t*t*from.se*from.se
	var ends []float64
	if c <= 0 {
		ends = append(ends, 0)
	}
	if a+b+c <= 0 {
		ends = append(ends, 1)
	}
	if known := !math.IsNaN(a + b + c); known && (from.d < 0) != (to.d < 0) {
		ends = append(ends, from.d/(from.d-to.d))
	}
	for _, w := range quadraticRoots(a, b, c) {
		if w >= 0 && w <= 1 {
			ends = append(ends, w)
		}
	}
	return ends
}

// quadraticRoots are the real roots of a w^2 + b w + c = 0, computed without
// cancellation.
func quadraticRoots(a, b, c float64) []float64 {
	if a == 0 {
		if b == 0 {
			return nil
		}
		return []float64{-c / b}
	}
	inside := b*b - 4*a*c
	if !(inside >= 0) {
		return nil
	}
	q := -(b + math.Copysign(math.Sqrt(inside), b)) / 2
	if q == 0 {
		return []float64{0}
	}
	return []float64{q / a, c / q}
}
