package run

import "testing"

// SI Brochure, 9th edition: 1 min = 60 s, 1 h = 3600 s (table 8); 1 W h = 3600 J.
func TestUnitFactor(t *testing.T) {
	for _, c := range []struct {
		from, to string
		want     float64
	}{
		{"s", "ms", 1000}, {"ms", "s", 0.001}, {"min", "s", 60}, {"h", "min", 60}, {"mW", "W", 0.001}, {"Wh", "J", 3600}, {"µs", "us", 1}, {"MiB", "KiB", 1024},
	} {
		if f, ok := UnitFactor(c.from, c.to); !ok || f < c.want*(1-1e-12) || f > c.want*(1+1e-12) {
			t.Errorf("%s in %s: %v, %v; want %v", c.from, c.to, f, ok, c.want)
		}
	}
	for _, pair := range [][2]string{{"fps", "ms"}, {"W", "J"}, {"s", "stones"}, {"", ""}, {"mW", "MW"}} {
		if f, ok := UnitFactor(pair[0], pair[1]); ok {
			t.Errorf("%v: %v", pair, f)
		}
	}
	if !KnownUnit("fps") || KnownUnit("mean") || KnownUnit("") {
		t.Error("fps is a unit, mean and nothing are none")
	}
}

func TestCutUnit(t *testing.T) {
	for heading, want := range map[string][2]string{
		"fps_mean (fps)": {"fps_mean", "fps"}, "time [ms]": {"time", "ms"}, "a (b) (s)": {"a (b)", "s"}, "load(W)": {"load", "W"},
		"plain": {"plain", ""}, "(fps)": {"(fps)", ""}, "open (fps": {"open (fps", ""}, "fps) (": {"fps) (", ""},
	} {
		if name, unit, _ := CutUnit(heading); name != want[0] || unit != want[1] {
			t.Errorf("%q: %q, %q", heading, name, unit)
		}
	}
}
