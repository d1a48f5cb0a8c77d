package testday

import (
	"context"
	"fmt"
	"time"

	"sweepd/collectors"
	"sweepd/run"
)

// SensorRow is one sensor with its latest value, or one source that is missing:
// then Sensor is empty where nobody knows what it would have read.
type SensorRow struct {
	Sensor   string   `json:"sensor"`
	Instance string   `json:"instance"`
	Unit     string   `json:"unit"`
	Value    *float64 `json:"value"`
	Source   string   `json:"source"`
	ReadUs   *float64 `json:"read_us"`   // time for one read of its probe, µs
	RefreshS *float64 `json:"refresh_s"` // shortest time between two changes seen, s
	Missing  string   `json:"missing"`   // why there is no value, and what to do
}

// Machine tells how sensors are read and what is missing; *collectors.Set is
// one.
type Machine interface {
	Timing(i int) (read, refresh time.Duration)
	Lag(i int) time.Duration
	HotLimit(i int) float64
	Cause(i int) error
	Absences() []collectors.Absence
}

// SensorRows lists the sensors and what is missing. values are those of a
// sweep, NaN where missing.
func SensorRows(m Machine, sensors []run.Sensor, values []float64) []SensorRow {
	absences := m.Absences()
	rows := make([]SensorRow, 0, len(sensors)+len(absences))
	gone, listed := map[string]string{}, map[string]bool{}
	for _, a := range absences {
		gone[a.Source] = why(a)
	}
	for i, s := range sensors {
		row := SensorRow{Sensor: s.ID, Instance: s.Instance, Unit: s.Unit, Source: s.Source}
		if i < len(values) {
			row.Value = finite(values[i])
		}
		read, refresh := m.Timing(i)
		row.ReadUs = positive(float64(read) / float64(time.Microsecond))
		row.RefreshS = positive(refresh.Seconds())
		if row.Value == nil {
			row.Missing = missing(s.Source, m.Cause(i), gone[s.Source])
		}
		listed[s.Source] = true
		rows = append(rows, row)
	}
	for _, a := range absences {
		if !listed[a.Source] {
			rows = append(rows, SensorRow{Source: a.Source, Missing: why(a)})
		}
	}
	return rows
}

// WithSettingCommand adds the command for the setting that the user configured, as
// a missing source, where it fails.
func WithSettingCommand(rows []SensorRow, failure string) []SensorRow {
	if failure == "" {
		return rows
	}
	return append(rows, SensorRow{Source: "setting_command", Missing: failure})
}

// missing says why a sensor has no value: by its source's absence, which knows a
// remedy, else by the failure of its last read.
func missing(source string, cause error, absence string) string {
	read := collectors.CauseOf(cause, source)
	switch {
	case absence != "":
		return absence
	case read != nil && read.Want != "" && read.Believed == "": // the row names the file
		return fmt.Sprintf("got %q, want %s", read.Text, read.Want)
	case read != nil:
		return read.Error()
	case cause != nil:
		return cause.Error()
	}
	return "it had no value when it was read"
}

func why(a collectors.Absence) string {
	if a.Remedy == "" {
		return a.Why
	}
	return a.Why + ": " + a.Remedy
}

func positive(v float64) *float64 {
	if v <= 0 {
		return nil
	}
	return finite(v)
}

// sensorPause is the time between the sweeps of SampleSensors.
const sensorPause = 100 * time.Millisecond

// SampleSensors sweeps a machine of its own for a while, so that the rows can
// tell how often values change, and returns them.
func SampleSensors(ctx context.Context, set *collectors.Set, during time.Duration) []SensorRow {
	tick := time.NewTicker(sensorPause)
	defer tick.Stop()
	start := time.Now()
	for {
		now := time.Since(start)
		if set.SlowDue(now) {
			set.ReadSlow(now)
		}
		values := set.Sweep(now)
		if now >= during || ctx.Err() != nil {
			return SensorRows(set, set.Sensors(), values)
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
		}
	}
}
