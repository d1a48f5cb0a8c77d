package collectors

import (
	"bytes"
	"math"
	"path/filepath"
	"strings"
	"time"

	"sweepd/run"
)

// supplySensors are what a supply may offer, in the order of supplyValues, with
// the files that must be there.
var supplySensors = []struct {
	sensor run.Sensor
	from   []string
}{
	{run.Sensor{ID: run.SupplyOnline, Resolution: 1}, []string{"online"}},
	{run.Sensor{ID: run.SupplyPowerLimit, Unit: "watts", Resolution: 1e-3}, []string{"current_max", "voltage_max"}},
	{run.Sensor{ID: run.SupplyVoltage, Unit: "volts", Resolution: 1e-6}, []string{"voltage_now"}},
	{run.Sensor{ID: run.SupplyCurrent, Unit: "amperes", Resolution: 1e-6}, []string{"current_now"}},
	{run.Sensor{ID: run.SupplyUSBType, Resolution: 1}, []string{"usb_type"}},
}

type supplyValues [5]float64

// offerSupply offers what feeds the machine: whether it is plugged and, where
// the driver says so, as what, and with which limits.
func offerSupply(dir, name string) Offer {
	var o Offer
	var which []int
	for i, s := range supplySensors {
		if firstComplete(dir, [][]string{s.from}) != nil {
			sensor := s.sensor
			sensor.Instance, sensor.Source = name, filepath.Join(dir, s.from[0])
			o.Sensors = append(o.Sensors, sensor)
			which = append(which, i)
		}
	}
	o.Open = func() (Probe, error) { return openAdapter(dir, which) }
	return o
}

// adapter reads one adapter, charger or uninterruptible supply.
type adapter struct {
	properties
	which                                                     []int // indices into supplySensors
	online, voltageMax, currentMax, voltage, current, usbType *property
	failed                                                    causes
}

// An unplugged port has no voltage.
var supplyMicrovolts = bound{0, believedVolts.high, "0 to 100 V"}.in(1e-6, "an integer (microvolts)")

func openAdapter(dir string, which []int) (Probe, error) {
	s := &adapter{properties: properties{dir: dir}, which: which}
	s.online = s.property("online", yesNo)
	s.voltageMax, s.currentMax = s.property("voltage_max", supplyMicrovolts), s.property("current_max", microamperes)
	s.voltage, s.current = s.property("voltage_now", supplyMicrovolts), s.property("current_now", microamperes)
	s.usbType = s.property("usb_type", limits{})
	if err := s.ready(); err != nil {
		return nil, err
	}
	return s, nil
}

func (s *adapter) Read(_ time.Duration, dst []float64) error {
	values := s.values(&s.failed)
	for i, which := range s.which {
		dst[i] = values[which]
	}
	return s.failed.err()
}

func (s *adapter) values(failed *causes) supplyValues {
	plugged := s.online.value(failed)
	limit := s.voltageMax.value(failed) * s.currentMax.value(failed)
	if !(plugged > 0) || limit == 0 {
		limit = math.NaN() // what is not plugged offers nothing, whatever its driver remembers
	}
	// 1 is a fixed and 2 a programmable voltage: both are plugged.
	return supplyValues{math.Min(plugged, 1), limit, s.voltage.value(failed), s.current.value(failed), s.kind(failed)}
}

// kind is the active one of usb_type, which lists all that the port can be and
// has the active one in brackets. Older drivers name only that.
func (s *adapter) kind(failed *causes) float64 {
	text, ok := s.usbType.text(failed)
	if !ok {
		return math.NaN()
	}
	active := text
	if _, after, found := bytes.Cut(text, []byte("[")); found {
		active, _, _ = bytes.Cut(after, []byte("]"))
	}
	return s.usbType.indexIn(run.USBTypes, active, text, usbTypesWanted, failed)
}

var usbTypesWanted = "one of " + strings.Join(run.USBTypes, ", ") + " in brackets"
