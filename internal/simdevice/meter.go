package simdevice

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"
)

// Meter is an inline power meter between the charger and a device. It logs what the charger
// gives, with noise of its own, by a clock of its own.
type Meter struct {
	Device *Device
	Behind time.Duration // of the meter's clock
	NoiseW float64       // sd of one value, W
	Seed   uint64

	noise *rand.Rand
	at    []time.Time // by the device's clock
	watts []float64
}

// Read logs a value.
func (m *Meter) Read() {
	if m.noise == nil {
		m.noise = newRand(m.Seed, streamGauge)
	}
	t := m.Device.Truth()
	m.at, m.watts = append(m.at, t.Time), append(m.watts, t.MainsW+m.NoiseW*m.noise.NormFloat64())
}

// Log is what was logged as a table, with the times in RFC 3339.
func (m *Meter) Log() string {
	var b strings.Builder
	b.WriteString("Time,Power [W]\n")
	for i, w := range m.watts {
		fmt.Fprintf(&b, "%s,%.4f\n", m.at[i].Add(-m.Behind).UTC().Format(time.RFC3339Nano), w)
	}
	return b.String()
}

// LogSince is the log as a table of seconds since its beginning and of milliwatts, with
// semicolons and decimal commas.
func (m *Meter) LogSince() string {
	var b strings.Builder
	b.WriteString("Example Works\n\nt (s);P (mW)\n")
	for i, w := range m.watts {
		fmt.Fprintln(&b, strings.ReplaceAll(fmt.Sprintf("%.3f;%.1f", m.at[i].Sub(m.at[0]).Seconds(), 1000*w), ".", ","))
	}
	return b.String()
}
