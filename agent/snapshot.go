package agent

import (
	"math"
	"time"

	"sweepd/judge"
	"sweepd/run"
)

// Snapshot is what the agent knows at its latest sweep, with what it counted so far.
type Snapshot struct {
	run.Live

	// Power is the power of each domain at the sweep, W; NaN unknown.
	Power    [domains]float64
	Energies []LabelledEnergy

	// SweepSeconds is the time spent in all sweeps, LastSweep in the latest.
	SweepSeconds float64
	LastSweep    time.Duration
}

// shared is what Snapshot copies. Agent.mu guards it.
type shared struct {
	ledger   ledger
	declared run.Declaration
	read     run.SourcedSetting
	at       run.Instant
	labels   run.Labels
	run      *run.Run
	stopped  run.Stopped
	sensors  []run.Sensor
	values   []float64
	out      float64
	charge   float64
	power    [domains]float64
	sweeps   uint64
	seconds  float64
	lastDur  time.Duration
	scanned  time.Duration // stepped mode: time of the last rescan
}

func (s *shared) note(now run.Instant, index *judge.SensorIndex, values []float64, out float64, labels run.Labels, run *recording) {
	s.at, s.out, s.charge, s.labels = now, out, index.Charge(values), labels
	s.power = powers(index, values, out)
	s.sensors = index.Sensors
	s.values = append(s.values[:0], values...)
	s.sweeps++
	switch {
	case run == nil:
		s.run = nil
	case s.run == nil || s.run.ID != run.record.ID:
		r := run.record.Run
		s.run = &r
	}
}

// Live is the latest sweep with its labels. Any goroutine may call it at any time.
func (a *Agent) Live() run.Live {
	var s Snapshot
	a.Snapshot(&s)
	return s.Live
}

// Snapshot copies the latest sweep, its labels and the energies into dst, whose
// memory is reused. Any goroutine may call it at any time.
func (a *Agent) Snapshot(dst *Snapshot) {
	dst.Unstored = a.unstored.records()
	a.mu.Lock()
	defer a.mu.Unlock()
	s := &a.shared
	dst.Now = a.opts.Clock.Now()
	dst.At, dst.Sweeps, dst.Current = s.at, s.sweeps, s.labels
	dst.Declared, dst.SettingRead = nil, nil
	if s.declared.Setting.Known() {
		declared := s.declared
		dst.Declared = &declared
	}
	if s.read.Known() {
		read := s.read
		dst.SettingRead = &read
	}
	dst.SettingCommandFailure = ""
	if f := a.command.failure.Load(); f != nil {
		dst.SettingCommandFailure = *f
	}
	dst.Recording, dst.Stopped = s.run, s.stopped
	dst.Sensors = s.sensors
	dst.Values = append(dst.Values[:0], s.values...)
	dst.DischargeWatts, dst.ChargeRatio, dst.Power = s.out, s.charge, s.power
	if s.sweeps == 0 {
		dst.DischargeWatts, dst.ChargeRatio = math.NaN(), math.NaN()
		dst.Current.Device = a.device()
	}
	dst.Energies = s.ledger.visible(dst.Energies[:0], dst.Now.Mono)
	dst.SweepSeconds, dst.LastSweep = s.seconds, s.lastDur
}
