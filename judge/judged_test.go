package judge

import (
	"math"

	"sweepd/internal/scripted"
	"sweepd/run"
)

var nan = math.NaN()

func watts(w float64) run.SourcedSetting { return run.Watts(w).From(run.Declared) }

// judged is the run of a script that ended well with a result.
func judged(s *scripted.Trace) (run.Record, error) {
	d := run.Record{Run: run.Run{ID: "0197a3c2-0000-7000-8000-0000deadbeef", State: run.Finished}}
	d.Results = map[string]run.Result{"score": {Value: 100, Better: run.Higher}}
	d.Setting, d.Supply = s.Sweeps[0].Setting, s.Sweeps[0].Supply
	length := (s.Sweeps[len(s.Sweeps)-1].At.Mono - s.Sweeps[0].At.Mono).Seconds()
	d.DurationS = &length
	return Judge(d, s, Thresholds{})
}
