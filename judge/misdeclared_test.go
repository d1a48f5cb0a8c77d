package judge

import (
	"testing"

	"sweepd/run"
)

func TestMisdeclared(t *testing.T) {
	campaign := []run.Setting{run.Watts(15), run.Watts(20), run.Watts(20.3), run.Watts(51), run.Named("quiet"), run.Named("balanced")}
	doubt := run.Finding{Code: run.SettingDisagrees, Severity: run.SeverityDoubt, Text: "as read"}
	rejected := run.Finding{Code: run.SettingDisagrees, Severity: run.SeverityReject, Text: "as read, another setting of the same campaign"}
	declared := func(declared, read run.Setting, f run.Finding) run.Run {
		return run.Run{Labels: run.Labels{Setting: declared.From(run.Declared)}, SettingRead: new(read.From("firmware")), Findings: []run.Finding{{Code: run.HotStart}, f}}
	}
	played := func(seconds float64, r run.Run) run.Run { r.DurationS = &seconds; return r }
	for _, c := range []struct {
		name string
		r    run.Run
		want run.Finding
	}{
		{"another setting", declared(run.Watts(20), run.Watts(15), doubt), rejected},
		{"another setting, nearly", declared(run.Watts(20), run.Watts(15.4), doubt), rejected},
		{"a slip of the keyboard", declared(run.Watts(51), run.Watts(15), doubt), rejected},
		{"no setting of the campaign", declared(run.Watts(20), run.Watts(17), doubt), doubt},
		{"the nearest is the declared one", declared(run.Watts(51), run.Watts(49.6), doubt), doubt},
		{"names", declared(run.Named("quiet"), run.Named("balanced"), doubt), rejected},
		{"a name that nobody ran", declared(run.Named("quiet"), run.Named("performance"), doubt), doubt},
		{"watts read, a name declared", declared(run.Named("quiet"), run.Watts(15), doubt), rejected},
		{"rejected before, and still", declared(run.Watts(20), run.Watts(15), rejected), rejected},
		{"rejected before, and no more", declared(run.Watts(20), run.Watts(17), rejected), doubt},
		{"shorter than reports take to settle", played(1.4, declared(run.Watts(20), run.Watts(15), doubt)), doubt},
		{"longer", played(1.6, declared(run.Watts(20), run.Watts(15), doubt)), rejected},
		{"nothing was read", run.Run{Findings: []run.Finding{doubt}}, doubt},
	} {
		if got, ok := Misdeclared(&c.r, campaign, Thresholds{}); !ok || got != c.want {
			t.Errorf("%s: %+v, %v; want %+v", c.name, got, ok, c.want)
		}
	}
	if f, ok := Misdeclared(&run.Run{Findings: []run.Finding{{Code: run.HotStart}}}, campaign, Thresholds{}); ok {
		t.Errorf("without the finding: %+v", f)
	}
}
