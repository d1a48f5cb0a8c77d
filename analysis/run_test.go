package analysis

import "sweepd/run"

// setWatts is the setting of a run in watts.
func setWatts(r *run.Run) float64 {
	w, _ := r.Setting.Watts()
	return w
}

func atWatts(w float64) run.SourcedSetting { return run.Watts(w).From(run.Declared) }

func named(name string) run.SourcedSetting { return run.Named(name).From(run.Declared) }

func better(lower bool) run.Better {
	if lower {
		return run.Lower
	}
	return run.Higher
}

// reserve is the finding of a run that brought the battery down to its reserve.
var reserve = []run.Finding{{Code: run.BatteryReserve}}

// uncertain gives a run's power a relative standard uncertainty.
func uncertain(r *run.Run, relative float64) {
	r.Discharge = &run.Discharge{UncertaintyWatts: new(1.959963984540054 * relative * *r.SystemW)}
}
