package judge

import (
	"time"

	"sweepd/run"
)

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

	// HotStart is how much warmer than its idle baseline a sensor may be when a
	// run starts, K. Default 10 (common practice, no source).
	HotStart float64
	// BusyStart is the highest processor load, as a share, in the second before
	// a run. Default 0.3 (common practice, no source).
	BusyStart float64
	// Reserve is the charge below which a run on battery is doubted, as a
	// share: near empty, devices limit themselves. Default 0.1 (common practice,
	// no source).
	Reserve float64
	// WeakCharger is the discharge on mains that is not doubted, W. Default 0.5
	// (common practice, no source).
	WeakCharger float64
	// Disobeyed is how far the measured package power may lie from the active
	// setting, as a share of it; 0.5 W is always allowed. Default 0.1 (common
	// practice, no source).
	Disobeyed float64
	// TemperatureLimit is where a processor is taken to be at its limit when
	// its power falls, degrees Celsius. Default 90 (common practice, no
	// source): set what the maker states.
	TemperatureLimit float64
	// ThrottledFall is the fall of power or clock at that limit that is noted,
	// as a share. Default 0.05 (common practice, no source).
	ThrottledFall float64
	// Stale is how long a working battery's values may stay unchanged. Default
	// 60 s (common practice, no source).
	Stale time.Duration
	// IdleTail is how long a run may be idle at its end. Default 5 s (common practice,
	// no source).
	IdleTail time.Duration
	// FramesShort is the share of a run that its frame times must cover. Default
	// 0.9 (common practice, no source).
	FramesShort float64
}

// DefaultTemperatureLimit is Thresholds.TemperatureLimit unless it is set, °C.
const DefaultTemperatureLimit = 90

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
	set(&t.Stale, time.Minute)
	set(&t.IdleTail, 5*time.Second)
	share := func(x *float64, v float64) {
		if *x == 0 {
			*x = v
		}
	}
	share(&t.SettingTolerance, 0.02)
	share(&t.HotStart, 10)
	share(&t.BusyStart, 0.3)
	share(&t.Reserve, run.LowCharge)
	share(&t.WeakCharger, 0.5)
	share(&t.Disobeyed, 0.1)
	share(&t.TemperatureLimit, DefaultTemperatureLimit)
	share(&t.ThrottledFall, 0.05)
	share(&t.FramesShort, DefaultFramesShort)
	return t
}
