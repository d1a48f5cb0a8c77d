package run

// Kind tells how a sensor's values relate in time.
type Kind uint8

const (
	// Gauge is a momentary value.
	Gauge Kind = iota
	// Counter only rises while its source lives; probes undo wrap-around, so a
	// fall means that the source was reset.
	Counter
)

func (k Kind) String() string {
	if k == Counter {
		return "counter"
	}
	return "gauge"
}

// Sensor describes one measured quantity.
type Sensor struct {
	// ID is the quantity with its SI unit at the end, see the constants in
	// quantity.go.
	ID string
	// Instance tells sensors of one ID apart ("BAT0", "nvme/Composite"). It
	// comes from names that survive a restart, never from numbers that the
	// kernel gives out by order of arrival where a name exists. Empty where
	// a machine can only have one.
	Instance string
	// Unit is the SI unit in words and plural ("watts"), "ratio" for 0 to 1,
	// "" for counts and codes.
	Unit string
	Kind Kind
	// Source is the path or call that the value is read from.
	Source string
	// Resolution is the smallest step, in Unit, that the source can express
	// (1e-6 for a file in microwatts). The store keeps values to this step.
	Resolution float64
}

// String is the sensor as a person reads it: "temperature_celsius of nvme/Composite".
func (s Sensor) String() string {
	if s.Instance == "" {
		return s.ID
	}
	return s.ID + " of " + s.Instance
}
