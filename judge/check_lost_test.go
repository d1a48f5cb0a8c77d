package judge

import (
	"strings"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// without is a minute on mains, with the sweeps between two moments left out.
func without(from, to time.Duration, lost ...run.Loss) *scripted.Trace {
	s := scripted.Play(time.Minute, scripted.OnMains)
	kept := s.Sweeps[:0]
	for _, x := range s.Sweeps {
		if t := x.At.Mono - scripted.Start.Mono; t <= from || t >= to {
			kept = append(kept, x)
		}
	}
	s.Sweeps, s.Missing = kept, lost
	return s
}

func loss(code run.Code, from, to time.Duration, sweeps int) run.Loss {
	return run.Loss{Code: code, From: scripted.Start.Wall.Add(from), To: scripted.Start.Wall.Add(to), Sweeps: sweeps}
}

const second = time.Second

// A hole is a device that was too busy only where no loss explains it.
func TestLostSweepsAreNoGap(t *testing.T) {
	unknown := loss(run.DataDamaged, 10*second, 20*second, 7)
	unknown.AtLeast = true
	for _, c := range []struct {
		name  string
		trace *scripted.Trace
		want  []run.Code
		says  string
	}{
		{"not explained", without(10*second, 20*second), []run.Code{run.SamplingGap}, "one time without a sweep longer than 1.0 s, the longest 10.0 s from 09:30:10 UTC"},
		{"never stored", without(10*second, 20*second, loss(run.ReadingsLost, 10250*time.Millisecond, 19750*time.Millisecond, 39)),
			[]run.Code{run.ReadingsLost}, "39 sweeps from 09:30:10 to 09:30:19 UTC could not be stored and are lost"},
		{"damaged, from an unknown sweep on", without(10*second, 20*second, unknown),
			[]run.Code{run.DataDamaged}, "at least 7 sweeps from 09:30:10 to 09:30:20 UTC cannot be read, for the stored data is damaged"},
		{"two stretches", without(10*second, 20*second, loss(run.ReadingsLost, 12*second, 19*second, 30), loss(run.ReadingsLost, 2*second, 3*second, 4)),
			[]run.Code{run.ReadingsLost}, "34 sweeps in 2 stretches from 09:30:12 to 09:30:19 UTC"},
		{"elsewhere, before", without(10*second, 20*second, loss(run.ReadingsLost, 9*second, 9*second, 1)), []run.Code{run.ReadingsLost, run.SamplingGap}, ""},
		{"elsewhere, after", without(10*second, 20*second, loss(run.ReadingsLost, 20*second, 21*second, 1)), []run.Code{run.ReadingsLost, run.SamplingGap}, ""},
		{"at the end", without(50*second, 70*second, loss(run.DataDamaged, 51*second, 60*second, 36)), []run.Code{run.DataDamaged}, "36 sweeps from"},
		{"both", without(10*second, 20*second, loss(run.DataDamaged, 12*second, 13*second, 1), loss(run.ReadingsLost, 14*second, 19*second, 1)),
			[]run.Code{run.ReadingsLost, run.DataDamaged}, "from 09:30:14"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := wantFindings(t, c.trace, c.want, c.says)
			for _, f := range d.Findings {
				if f.Code != run.SamplingGap && (f.Severity != run.SeverityDoubt || f.Advice == "" || f.At.IsZero()) {
					t.Errorf("%+v: want a doubt with advice and a time", f)
				}
			}
		})
	}
}

// Of several gaps the longest is told, and how many there were.
func TestTheLongestGapIsTold(t *testing.T) {
	s := without(10*second, 13*second)
	kept := s.Sweeps[:0]
	for _, x := range s.Sweeps {
		if t := x.At.Mono - scripted.Start.Mono; (t <= 30*second || t >= 35*second) && (t <= 40*second || t >= 42*second) {
			kept = append(kept, x)
		}
	}
	s.Sweeps = kept
	wantFindings(t, s, []run.Code{run.SamplingGap}, "3 times without a sweep longer than 1.0 s, the longest 5.0 s from 09:30:30 UTC")
}

// What an earlier agent noted as lost stays with the run and explains its gap.
func TestLossNotedBefore(t *testing.T) {
	noted := LostFindings([]run.Loss{loss(run.ReadingsLost, 10250*time.Millisecond, 19750*time.Millisecond, 39)})
	d := run.Record{Run: run.Run{State: run.Interrupted, Findings: noted, Results: map[string]run.Result{"score": {}}}}
	got, err := Judge(d, without(10*second, 20*second), Thresholds{})
	if err != nil || len(got.Findings) != 1 || got.Findings[0].Code != run.ReadingsLost || !strings.Contains(got.Findings[0].Text, "39 sweeps") {
		t.Errorf("%+v, %v", got.Findings, err)
	}
}
