package analysis

import "testing"

// NIST StRD Norris: certified values, rel 1e-11.
func TestFitLineNorris(t *testing.T) {
	y := []float64{.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, .3, .1, 778.1, 668.8, 339.3, 448.9, 10.8,
		557.7, 228.3, 998.0, 888.8, 119.6, .3, .6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, .2}
	x := []float64{.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, .4, .6, 775.5, 666.9, 338.0, 447.5, 11.6,
		556.0, 228.1, 995.8, 887.6, 120.2, .3, .3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, .5}
	got, ok := fitLine(x, y, ones(len(x)))
	if !ok {
		t.Fatal("no line")
	}
	within(t, "B0", got.intercept, -0.262323073774029, 1e-11*0.26)
	within(t, "B1", got.slope, 1.00211681802045, 1e-11)
	within(t, "se B0", got.seIntercept, 0.232818234301152, 1e-11*0.23)
	within(t, "se B1", got.seSlope, 0.000429796848199937, 1e-11*0.00043)
	within(t, "residual SD", got.residualSD, 0.884796396144373, 1e-11)
	within(t, "df", got.df, 34, 0)
}

// R's data set cars (50 stopping distances), R 4.2.2 lm; rel 1e-9.
func TestFitLineCars(t *testing.T) {
	speed := []float64{4, 4, 7, 7, 8, 9, 10, 10, 10, 11, 11, 12, 12, 12, 12, 13, 13, 13, 13, 14, 14, 14, 14, 15, 15, 15, 16, 16, 17, 17,
		17, 18, 18, 18, 18, 19, 19, 19, 20, 20, 20, 20, 20, 22, 23, 24, 24, 24, 24, 25}
	dist := []float64{2, 10, 4, 22, 16, 10, 18, 26, 34, 17, 28, 14, 20, 24, 28, 26, 34, 34, 46, 26, 36, 60, 80, 20, 26, 54, 32, 40, 32,
		40, 50, 42, 56, 76, 84, 36, 46, 68, 32, 48, 52, 56, 64, 66, 54, 70, 92, 93, 120, 85}
	got, ok := fitLine(speed, dist, ones(len(speed)))
	if !ok {
		t.Fatal("no line")
	}
	within(t, "intercept", got.intercept, -17.57909489051, 1e-9)
	within(t, "slope", got.slope, 3.93240875912, 1e-9)
	within(t, "se intercept", got.seIntercept, 6.758440169, 1e-8)
	within(t, "se slope", got.seSlope, 0.415512776657, 1e-9)
	within(t, "residual SD", got.residualSD, 15.3795867488, 1e-8)
}

// GUM (JCGM 100:2008) H.3, calibration of a thermometer: the line
// and its uncertainties; abs 1e-7.
func TestFitLineThermometer(t *testing.T) {
	x := []float64{1.521, 2.012, 2.512, 3.003, 3.507, 3.999, 4.513, 5.002, 5.503, 6.010, 6.511}
	y := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	got, ok := fitLine(x, y, ones(len(x)))
	if !ok {
		t.Fatal("no line")
	}
	within(t, "y1", got.intercept, -0.17120379, 1e-7)
	within(t, "u(y1)", got.seIntercept, 0.0028776, 1e-7)
	within(t, "y2", got.slope, 0.00218270, 1e-7)
	within(t, "u(y2)", got.seSlope, 0.00066794, 1e-7)
	within(t, "s", got.residualSD, 0.00349756396, 1e-7)
}

// A weight of two is the point twice, but for the degrees of freedom.
func TestFitLineWeights(t *testing.T) {
	weighted, _ := fitLine([]float64{1, 2, 4, 7}, []float64{3, 5, 8, 16}, []float64{1, 2, 1, 2})
	twice, _ := fitLine([]float64{1, 2, 2, 4, 7, 7}, []float64{3, 5, 5, 8, 16, 16}, ones(6))
	within(t, "intercept", weighted.intercept, twice.intercept, 1e-12)
	within(t, "slope", weighted.slope, twice.slope, 1e-12)
	within(t, "se slope", weighted.seSlope*weighted.seSlope*weighted.df, twice.seSlope*twice.seSlope*twice.df, 1e-12)
}

func TestFitLineUnknown(t *testing.T) {
	for name, x := range map[string][]float64{"two points": {1, 2}, "one x": {3, 3, 3, 3}, "none": {}} {
		if _, ok := fitLine(x, x, ones(len(x))); ok {
			t.Errorf("%s: a line", name)
		}
	}
	huge := []float64{1e308, 1e308, 1e307}
	if got, ok := fitLine(huge, huge, ones(3)); ok && !finite(got.seIntercept) {
		t.Errorf("1e308: %+v", got)
	}
}
