package collectors

import (
	"bytes"
	"errors"
	"math"
	"path/filepath"
	"time"

	"sweepd/run"
)

// A battery reports either energy and power or charge and current; the kernel's
// class forbids mixing them, and any file may be absent. Drivers differ in the
// sign of the rate: the class asks for negative while discharging, the
// control-method driver prints a magnitude. So the direction comes from status,
// and the size from the number.

// batterySensors are what a battery may offer, in the order of batteryValues,
// with the groups of files of which one must be there complete.
var batterySensors = []struct {
	sensor run.Sensor
	from   [][]string
}{
	{run.Sensor{ID: run.BatteryPower, Unit: "watts", Resolution: 1e-6}, [][]string{
		{"power_now"}, {"current_now", "voltage_now"}, {"power_avg"}, {"current_avg", "voltage_now"}}},
	{run.Sensor{ID: run.BatteryEnergy, Unit: "joules", Resolution: 3600e-6}, [][]string{
		{"energy_now"}, {"charge_now", "voltage_min_design"}, {"charge_now", "voltage_now"}}},
	{run.Sensor{ID: run.BatteryEnergyFull, Unit: "joules", Resolution: 3600e-6}, [][]string{
		{"energy_full"}, {"charge_full", "voltage_min_design"}, {"charge_full", "voltage_now"}}},
	{run.Sensor{ID: run.BatteryEnergyDesign, Unit: "joules", Resolution: 3600e-6}, [][]string{
		{"energy_full_design"}, {"charge_full_design", "voltage_min_design"}, {"charge_full_design", "voltage_now"}}},
	{run.Sensor{ID: run.BatteryCharge, Unit: "ratio", Resolution: 1e-6}, [][]string{
		{"energy_now", "energy_full"}, {"charge_now", "charge_full"}, {"capacity"}}},
	{run.Sensor{ID: run.BatteryDirection, Resolution: 1}, [][]string{{"status"}, {"current_now"}, {"power_now"}, {"current_avg"}, {"power_avg"}}},
	{run.Sensor{ID: run.BatteryVoltage, Unit: "volts", Resolution: 1e-6}, [][]string{{"voltage_now"}}},
	{run.Sensor{ID: run.BatteryCurrent, Unit: "amperes", Resolution: 1e-6}, [][]string{{"current_now"}}},
	{run.Sensor{ID: run.Temperature, Unit: "celsius", Resolution: 0.1}, [][]string{{"temp"}}},
}

// batteryValues are the readings of one pass, in the order of batterySensors.
type batteryValues [9]float64

// batteryInterval is how long the control-method driver keeps what the firmware
// told it (drivers/acpi/battery.c, cache_time: 1 s), and a little more: asking in
// step with the driver would now and then get the old answer again, so that the
// fall of the content seemed to come a second late.
const batteryInterval = 1020 * time.Millisecond

func offerBattery(dir, name string) (Offer, bool) {
	o := Offer{MinInterval: batteryInterval}
	var which []int
	for i, b := range batterySensors {
		if files := firstComplete(dir, b.from); files != nil {
			s := b.sensor
			s.Instance, s.Source = name, filepath.Join(dir, files[0])
			o.Sensors = append(o.Sensors, s)
			which = append(which, i)
		}
	}
	o.Open = func() (Probe, error) { return openBattery(dir, which) }
	return o, len(which) > 0
}

func firstComplete(dir string, groups [][]string) []string {
next:
	for _, files := range groups {
		for _, f := range files {
			if !exists(dir, f) {
				continue next
			}
		}
		return files
	}
	return nil
}

// battery reads one battery. All its files belong together: the driver refreshes
// them at once.
type battery struct {
	properties
	which []int // indices into batterySensors

	present, status, voltage         *property
	power, powerAvg                  *property
	current, currentAvg              *property
	energy, energyFull, energyDesign *property
	charge, chargeFull, chargeDesign *property
	capacity, temperature            *property

	failed, rateFailed causes

	sign    rateSign
	content chargeContent
}

func openBattery(dir string, which []int) (Probe, error) {
	b := &battery{properties: properties{dir: dir}, which: which}
	b.present, b.status = b.property("present", yesNo), b.property("status", limits{})
	b.voltage = b.property("voltage_now", microvolts)
	b.power, b.powerAvg = b.property("power_now", microwatts), b.property("power_avg", microwatts)
	b.current, b.currentAvg = b.property("current_now", microamperes), b.property("current_avg", microamperes)
	b.energy, b.energyFull = b.property("energy_now", microwattHours), b.property("energy_full", microwattHours)
	b.charge, b.chargeFull = b.property("charge_now", microampereHours), b.property("charge_full", microampereHours)
	b.energyDesign = b.property("energy_full_design", microwattHours)
	b.chargeDesign = b.property("charge_full_design", microampereHours)
	b.capacity, b.temperature = b.property("capacity", percentage), b.property("temp", deciCelsius)
	if err := b.ready(); err != nil {
		return nil, err
	}
	fixed := properties{dir: dir}
	var ignored causes // without it the first voltage seen is the nominal one
	b.content.nominal = fixed.property("voltage_min_design", microvolts).value(&ignored)
	if err := fixed.Close(); err != nil {
		return nil, errors.Join(err, b.Close())
	}
	return b, nil
}

func (b *battery) Read(_ time.Duration, dst []float64) error {
	setMissing(dst)
	if b.present.value(&b.failed) == 0 {
		// An empty bay is no fault. What comes back may be another battery.
		b.content.forget()
		return b.failed.err()
	}
	values := b.values(&b.failed)
	for i, which := range b.which {
		dst[i] = values[which]
	}
	return b.failed.err()
}

func (b *battery) values(failed *causes) batteryValues {
	voltage := b.voltage.value(failed)
	current := b.current.value(failed)
	rate := b.rate(voltage, current, failed)
	signed := current
	if signed != signed {
		signed = rate
	}
	direction := b.direction(signed, failed)

	energy, full, design := b.energy.value(failed), b.energyFull.value(failed), b.energyDesign.value(failed)
	ratio := energy / full
	if b.energy.file == nil && b.charge.file != nil {
		charge, chargeFull := b.charge.value(failed), b.chargeFull.value(failed)
		ratio = charge / chargeFull
		energy = b.content.joules(charge, voltage, direction)
		full, design = chargeFull*b.content.nominal, b.chargeDesign.value(failed)*b.content.nominal
	}
	if !(ratio <= math.MaxFloat64) { // unknown, or a full content of 0
		ratio = b.capacity.value(failed)
	}
	return batteryValues{
		withDirection(direction, rate), energy, full, design, math.Min(ratio, 1), direction,
		voltage, withDirection(direction, current), b.temperature.value(failed),
	}
}

// rate is the flow in watts with the driver's sign: power where it is reported,
// else current times voltage, else the same from the driver's averages. Why a file was
// of no use is told where none was of use, or where it showed a number beyond belief.
func (b *battery) rate(voltage, current float64, failed *causes) float64 {
	rate := b.power.value(&b.rateFailed)
	if rate != rate {
		rate = current * voltage
	}
	if rate != rate {
		rate = b.powerAvg.value(&b.rateFailed)
	}
	if rate != rate {
		rate = b.currentAvg.value(&b.rateFailed) * voltage
	}
	for _, err := range b.rateFailed.list {
		if rate != rate || beyondBelief(err) {
			failed.add(err)
		}
	}
	b.rateFailed.list = b.rateFailed.list[:0]
	return rate
}

var (
	statusDischarging = []byte("Discharging")
	statusCharging    = []byte("Charging")
	statusNotCharging = []byte("Not charging")
	statusFull        = []byte("Full")
	statusUnknown     = []byte("Unknown")
)

// direction is 1 while discharging, -1 while charging, 0 at rest, NaN if nobody
// knows; rate is a rate with the driver's sign.
func (b *battery) direction(rate float64, failed *causes) float64 {
	text, ok := b.status.text(failed)
	switch {
	case !ok:
	case bytes.Equal(text, statusDischarging):
		b.sign.learn(1, rate)
		return 1
	case bytes.Equal(text, statusCharging):
		b.sign.learn(-1, rate)
		return -1
	case bytes.Equal(text, statusNotCharging), bytes.Equal(text, statusFull):
		return 0
	case !bytes.Equal(text, statusUnknown):
		failed.add(b.status.file.refuse(text, "Charging, Discharging, Not charging, Full or Unknown"))
	}
	return b.sign.direction(rate)
}

// rateSign knows what a driver's sign means, from what it showed while status
// said the direction.
type rateSign struct{ positiveDischarge, negativeCharge bool }

func (s *rateSign) learn(direction, rate float64) {
	s.positiveDischarge = s.positiveDischarge || direction > 0 && rate > 0
	s.negativeCharge = s.negativeCharge || direction < 0 && rate < 0
}

// direction judges by the sign alone: negative is discharging, as the class has
// it, unless the driver showed the contrary. A driver that was seen positive
// while discharging, and never negative while charging, may be printing
// magnitudes; its positive numbers say nothing.
func (s *rateSign) direction(rate float64) float64 {
	switch {
	case rate == 0:
		return 0
	case rate < 0 && s.negativeCharge:
		return -1
	case rate < 0:
		return 1
	case rate > 0 && s.negativeCharge:
		return 1
	case rate > 0 && !s.positiveDischarge:
		return -1
	}
	return math.NaN()
}

// withDirection gives a size its direction, positive while discharging. 0 at rest,
// whatever noise the gauge shows; missing if either is.
func withDirection(direction, size float64) float64 {
	if direction == 0 && size == size {
		return 0
	}
	return direction * math.Abs(size)
}

// chargeContent is the energy in a battery that counts charge. From change to
// change the energy falls by the charge times the mean of the voltages at both;
// that is what a run's discharge is made of. Where it starts from, and the full
// content, is charge times the nominal voltage (voltage_min_design). These two
// do not meet exactly: a battery is above its nominal voltage for most of a
// discharge, so towards its end the content may fall slightly below 0. When
// discharging follows charging the content starts anew from the charge, so that
// the error does not add up from cycle to cycle.
type chargeContent struct {
	nominal   float64 // V
	started   bool
	energy    float64 // J
	charge    float64 // C, at the last change
	voltage   float64 // V, then
	direction float64 // the last that was not 0
}

func (c *chargeContent) joules(charge, voltage, direction float64) float64 {
	if !(c.nominal > 0) {
		c.nominal = voltage
	}
	if charge != charge || c.nominal != c.nominal {
		return math.NaN()
	}
	turned := c.direction < 0 && direction > 0
	if direction > 0 || direction < 0 {
		c.direction = direction
	}
	switch {
	case !c.started || turned:
		c.started, c.energy, c.charge, c.voltage = true, charge*c.nominal, charge, voltage
	case charge != c.charge:
		c.energy += (charge - c.charge) * c.meanVoltage(voltage)
		c.charge, c.voltage = charge, voltage
	}
	return c.energy
}

// meanVoltage is the mean voltage since the last change, of what is known.
func (c *chargeContent) meanVoltage(voltage float64) float64 {
	mean := (c.voltage + voltage) / 2
	for _, v := range [...]float64{mean, voltage, c.voltage} {
		if v == v {
			return v
		}
	}
	return c.nominal
}

func (c *chargeContent) forget() { c.started, c.direction = false, 0 }
