package analysis

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// R 4.2.2: the two-sided Sidak quantiles for a family error of 5 %, abs 1e-9,
// and the one-sided 95 % quantiles that open Dunnett's 1955 table (JASA
// 50:1096-1121, one comparison), abs 1e-6. GUM (JCGM 100:2008) G.4: t95(19).
func TestStudentQuantilePublished(t *testing.T) {
	for _, c := range []struct{ p, nu, want, tolerance float64 }{
		{1 - 0.0253205655191/2, 10, 2.62634324612, 1e-9},
		{1 - 0.0169524275084/2, 10, 2.86015387587, 1e-9},
		{1 - 0.0102062183130/2, 10, 3.15726024977, 1e-9},
		{1 - 0.00511619689182/2, 10, 3.56759221708, 1e-9},
		{1 - 0.0253205655191/2, 20, 2.41708212231, 1e-9},
		{1 - 0.00511619689182/2, 20, 3.14330213928, 1e-9},
		{1 - 0.0253205655191/2, math.Inf(1), 2.23647664456, 1e-9},
		{0.95, 5, 2.015048, 1e-6},
		{0.95, 10, 1.812461, 1e-6},
		{0.95, 60, 1.670649, 1e-6},
		{0.95, math.Inf(1), 1.644854, 1e-6},
		{0.975, 19, 2.09302405, 1e-8},
	} {
		within(t, "quantile", studentQuantile(c.p, c.nu), c.want, c.tolerance)
		within(t, "mirrored", studentQuantile(1-c.p, c.nu), -c.want, c.tolerance)
	}
}

// The quantile undoes the tail, and the fast way agrees with the library.
func TestStudentQuantileRoundTrip(t *testing.T) {
	for _, nu := range []float64{0.5, 1, 2, 2.55, 7, 40, 1e4, 1e7} {
		for _, q := range []float64{1e-9, 1e-5, 0.001, 0.025, 0.2, 0.5} {
			x := studentQuantile(1-q, nu)
			if nu >= 2 || q >= 1e-5 {
				near(t, "tail", studentUpper(x, nu), q, 1e-6)
			}
			if q >= 1e-5 && nu >= 1 {
				within(t, "quantile", x, distuv.StudentsT{Sigma: 1, Nu: nu}.Quantile(1-q), 1e-8*(1+x))
			}
		}
	}
	for _, nu := range []float64{0, -1, math.NaN()} {
		if got := studentQuantile(0.975, nu); !math.IsNaN(got) {
			t.Errorf("%v df: %v, want NaN", nu, got)
		}
	}
}
