package agent

import "time"

// Thresholds decide when something becomes a finding. A zero field means its
// default.
type Thresholds struct {
	// TooShort is the shortest run that is not doubted. Default 5 s (common
	// practice, no source).
	TooShort time.Duration
	// Gap is the longest time without a sweep that is not doubted; at least
	// three sampling intervals are always allowed. Default 1 s (common
	// practice, no source).
	Gap time.Duration
	// Gone is how long a sensor may be missing. Default 3 s, at least five
	// sampling intervals (common practice, no source).
	Gone time.Duration
	// Settle is how long after a run's start supply and setting may still
	// change because their sources report late. Default 1.5 s: the kernel keeps
	// an ACPI battery's values for 1 s (drivers/acpi/battery.c, cache_time).
	Settle time.Duration
	// ClockStep is the smallest jump of the wall clock against the boot clock
	// that is noted, and the shortest suspend. Default 0.5 s (common practice,
	// no source).
	ClockStep time.Duration
	// SettingTolerance is how far a declared and a read limit may differ, as a
	// share of the declared one; 0.5 W is always allowed. Default 0.02 (common
	// practice, no source).
	SettingTolerance float64
}

func (t Thresholds) withDefaults() Thresholds {
	set := func(d *time.Duration, v time.Duration) {
		if *d == 0 {
			*d = v
		}
	}
	set(&t.TooShort, 5*time.Second)
	set(&t.Gap, time.Second)
	set(&t.Gone, 3*time.Second)
	set(&t.Settle, 1500*time.Millisecond)
	set(&t.ClockStep, 500*time.Millisecond)
	if t.SettingTolerance == 0 {
		t.SettingTolerance = 0.02
	}
	return t
}
