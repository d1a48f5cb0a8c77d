package analysis

import (
	"math"
	"testing"
)

// Base R 4.2.2, 10 digits; Student's t for m = 1.
func TestMaxModulusNumbers(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		m        int
		nu, want float64
	}{{1, 5, 2.570581836}, {5, 10, 3.102527444}, {20, 40, 3.202596256}, {20, inf, 3.015994533}} {
		near(t, "q2", newMaxModulus(c.m, c.nu).twoSided(0.95), c.want, tenDigits)
	}
	near(t, "q1(19, 40)", newMaxModulus(19, 40).oneSided(0.95), 2.932019527, tenDigits)
	near(t, "q1(1, 7)", newMaxModulus(1, 7).oneSided(0.95), 1.894578605, tenDigits)
	near(t, "p(3; 10, 20)", newMaxModulus(10, 20).adjusted(3), 0.06390447105, tenDigits)
	near(t, "p(8; 20, 40)", newMaxModulus(20, 40).adjusted(8), 1.580764706e-08, tenDigits)
}

// With a known SD the maximum modulus is Sidak's inequality made exact: the
// critical z for a family error of 5 % (R 4.2.2; Sidak 1967). abs 1e-9.
func TestMaxModulusSidak(t *testing.T) {
	for m, want := range map[int]float64{2: 2.23647664456, 3: 2.38773788707, 5: 2.56876316801, 10: 2.79962521930} {
		if got := newMaxModulus(m, math.Inf(1)).twoSided(0.95); math.Abs(got-want) > 1e-9 {
			t.Errorf("m = %d: %.12g, want %.12g", m, got, want)
		}
	}
}

// The common SD makes the estimates dependent, so the exact value lies below
// Sidak's t (R 4.2.2: 3.15726024977 for m = 5, nu = 10) and above Sidak's z.
func TestMaxModulusBelowSidakT(t *testing.T) {
	for _, c := range []struct {
		m            int
		nu, z, upper float64
	}{
		{2, 10, 2.23647664456, 2.62634324612}, {3, 10, 2.38773788707, 2.86015387587}, {5, 10, 2.56876316801, 3.15726024977},
		{10, 10, 2.79962521930, 3.56759221708}, {2, 20, 2.23647664456, 2.41708212231}, {10, 20, 2.79962521930, 3.14330213928},
	} {
		if got := newMaxModulus(c.m, c.nu).twoSided(0.95); !(got > c.z && got < c.upper) {
			t.Errorf("m = %d, nu = %g: %g outside (%g, %g)", c.m, c.nu, got, c.z, c.upper)
		}
	}
}

// The quantile and the adjusted p are inverse to each other, for any m and nu.
func TestMaxModulusInverse(t *testing.T) {
	for _, m := range []int{1, 2, 3, 20, 60, 1000} {
		for _, nu := range []float64{2, 2.5, 4, 9.3, 17.69, 120, 4000, 9e5, 2e6, math.Inf(1)} {
			for _, p := range []float64{0.5, 0.9, 0.95, 0.99, 0.999} {
				d := newMaxModulus(m, nu)
				c := d.twoSided(p)
				if back := 1 - d.adjusted(c); math.Abs(back-p) > 1e-9 {
					t.Errorf("m %d, nu %g: P(max <= q(%g)) = %.12g", m, nu, p, back)
				}
			}
		}
	}
}

func BenchmarkMaxModulusQuantile(b *testing.B) {
	for b.Loop() {
		newMaxModulus(20, 17.7).twoSided(0.95)
	}
}
