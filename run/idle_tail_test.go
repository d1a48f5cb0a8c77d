package run

import (
	"strings"
	"testing"
)

// The watts that the finding names are those of the package, once: a graphics sensor that
// shows the same watts is not added.
func TestIdleTailNamesThePackageOnce(t *testing.T) {
	power := func(instance string) Summary {
		return Summary{Sensor: PackagePower, Instance: instance, Mean: new(7.3), LoadMean: new(13.5)}
	}
	energy := Summary{Sensor: PackageEnergy, Instance: "package-0"}
	for name, list := range map[string][]Summary{
		"with a counter":       {power("gpu"), power("package-0"), energy},
		"without one":          {power("package-0"), power("gpu")},
		"without any instance": {power("")},
	} {
		d := Record{Summaries: list, LoadEndS: new(8.3)}
		d.DurationS = new(22.0)
		f := d.IdleTailFinding("")
		if want := "(13.5 W until then, 7.3 W over all)"; !strings.Contains(f.Text, want) {
			t.Errorf("%s: %s, want %s", name, f.Text, want)
		}
		undecided, decided := []Finding{f}, []Finding{d.IdleTailFinding("trimmed")}
		Advise(undecided)
		Advise(decided)
		if undecided[0].Advice == "" || decided[0].Advice != "" {
			t.Errorf("%s: advice %q, and %q when decided", name, undecided[0].Advice, decided[0].Advice)
		}
	}
}
