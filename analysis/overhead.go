package analysis

import "math"

// Overhead is the line of the power of the whole device over package watts (or
// set watts): the intercept is what the rest of the device draws, W, the slope
// what a watt costs at the battery. Bounds are 95 %. All null if fewer than
// three runs or two distinct powers are known; Against is empty then.
type Overhead struct {
	Against         string `json:"against"` // package_w or setting_w
	InterceptW      Number `json:"intercept_w"`
	InterceptLowerW Number `json:"intercept_lower_w"`
	InterceptUpperW Number `json:"intercept_upper_w"`
	Slope           Number `json:"slope"`
	SlopeLower      Number `json:"slope_lower"`
	SlopeUpper      Number `json:"slope_upper"`

	N          int    `json:"n"`           // runs on the line
	ResidualSD Number `json:"residual_sd"` // relative: of one run about the line
}

// addOverhead fits the line over runs, weighted by 1/(arithmetic mean of the power at
// their setting)^2, because the noise of power is relative; against set watts if too
// few runs have package watts.
//
// Source: Carroll & Ruppert 1988 (weights); bounds t_{0.975, N-2}. The relative
// uncertainty that the runs share (see commonUncertainty) adds to both variances.
func (b *batteryGroup) addOverhead() {
	b.out.Overhead = b.overhead(ByPackage, packagePower)
	if b.out.Overhead.Against != "" {
		return
	}
	b.out.Overhead = b.overhead(BySetting, settingPower)
	if b.out.Overhead.Against != "" {
		b.note(Note{Code: NoteOverheadBySetting})
	} else {
		b.note(Note{Code: NoteNoOverhead})
	}
}

func (b *batteryGroup) overhead(against string, power quantity) Overhead {
	var x, y, w []float64
	for _, sample := range b.samples {
		systems := make([]float64, len(sample.z))
		for k, z := range sample.z {
			systems[k] = math.Exp(z)
		}
		mean := finiteMean(systems)
		for k, i := range sample.runs {
			if p, ok := power(&b.runs[i]); ok && usable(p) {
				x, y, w = append(x, p), append(y, systems[k]), append(w, 1/mean/mean)
			}
		}
	}
	unknown := Unknown()
	out := Overhead{"", unknown, unknown, unknown, unknown, unknown, unknown, len(x), unknown}
	fit, ok := fitLine(x, y, w)
	if !ok {
		return out
	}
	t := twoSided(fit.df)
	shared := b.commonUncertainty(b.indices)
	seIntercept, seSlope := math.Hypot(fit.seIntercept, shared*fit.intercept), math.Hypot(fit.seSlope, shared*fit.slope)
	out.Against = against
	out.InterceptW, out.Slope, out.ResidualSD = Number(fit.intercept), Number(fit.slope), Number(fit.residualSD)
	out.InterceptLowerW, out.InterceptUpperW = Number(fit.intercept-t*seIntercept), Number(fit.intercept+t*seIntercept)
	out.SlopeLower, out.SlopeUpper = Number(fit.slope-t*seSlope), Number(fit.slope+t*seSlope)
	return out
}

// line is a straight line fitted by weighted least squares, with its terms.
type line struct {
	intercept, slope     float64
	seIntercept, seSlope float64
	residualSD           float64 // sqrt(sum w r^2 / df), in y for weights of 1
	df                   float64 // points - 2
}

// fitLine fits y = intercept + slope x by least squares with weights w, which
// must be positive: proportional to 1/variance. ok is false for fewer than three
// points or fewer than two distinct x, and if the numbers overflow.
//
// Source: any text on regression, for the weights Carroll & Ruppert 1988.
func fitLine(x, y, w []float64) (fit line, ok bool) {
	if len(x) < 3 {
		return line{}, false
	}
	var total, mx, my float64
	for i := range x {
		total += w[i]
		mx += (x[i] - mx) * (w[i] / total)
		my += (y[i] - my) * (w[i] / total)
	}
	var sxx, sxy float64
	for i := range x {
		sxx += w[i] * (x[i] - mx) * (x[i] - mx)
		sxy += w[i] * (x[i] - mx) * (y[i] - my)
	}
	if !distinct(x) || !(sxx > 0) {
		return line{}, false
	}
	fit.slope = sxy / sxx
	fit.intercept = my - fit.slope*mx
	fit.df = float64(len(x) - 2)
	var rss float64
	for i := range x {
		r := (y[i] - my) - fit.slope*(x[i]-mx)
		rss += w[i] * r * r
	}
	s2 := rss / fit.df
	fit.residualSD = math.Sqrt(s2)
	fit.seSlope = math.Sqrt(s2 / sxx)
	fit.seIntercept = math.Sqrt(s2 * (1/total + mx*mx/sxx))
	return fit, finite(fit.intercept) && finite(fit.slope) && finite(fit.seIntercept) && finite(fit.seSlope)
}

func distinct(x []float64) bool {
	for _, v := range x[1:] {
		if v != x[0] {
			return true
		}
	}
	return false
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
