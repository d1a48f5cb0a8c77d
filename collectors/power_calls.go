package collectors

import (
	"math"
	"strings"
	"time"

	"sweepd/run"
)

// powerCalls are the calls of Windows that this collector makes; the tests have
// their own.
type powerCalls interface {
	// PowerStatus is GetSystemPowerStatus.
	PowerStatus(*[powerStatusSize]byte) error
	// BatteryState is CallNtPowerInformation(SystemBatteryState).
	BatteryState(*[batteryStateSize]byte) error
	// Batteries lists the paths of the batteries' drivers, OpenDevice opens one.
	Batteries() ([]string, error)
	OpenDevice(path string) (controlDevice, error)
}

// windowsPower reads supply and batteries on Windows: each battery by its own
// driver where all of them answer in mWh, else all as one by the system's call.
// What was found first stays, so that no battery is counted twice.
type windowsPower struct {
	calls  powerCalls
	chosen bool
	each   []string // paths of the batteries that are read one by one
	whole  bool     // they are read as one
}

func (*windowsPower) Name() string { return "power" }

const (
	powerStatusSource  = "GetSystemPowerStatus"
	batteryStateSource = "CallNtPowerInformation(SystemBatteryState)"
	// windowsBatteryInterval: the driver caches nothing, but each question may
	// reach the embedded controller.
	windowsBatteryInterval = time.Second
)

func (c *windowsPower) Scan() (offers []Offer, absences []Absence) {
	var status [powerStatusSize]byte
	if err := c.calls.PowerStatus(&status); err != nil {
		return nil, []Absence{{Collector: c.Name(), Source: powerStatusSource, Why: err.Error()}}
	}
	offers = append(offers, Offer{
		Sensors: []run.Sensor{{ID: run.SupplyOnline, Source: powerStatusSource, Resolution: 1}},
		Open:    func() (Probe, error) { return &supplyCall{calls: c.calls}, nil },
	})
	if !decodePowerStatus(&status).battery {
		return offers, []Absence{{Collector: c.Name(), Source: "battery", Why: "the system reports none"}}
	}
	if !c.chosen {
		c.choose()
	}
	for _, path := range c.each {
		offers = append(offers, c.offerBattery(path))
	}
	if c.whole {
		offers = append(offers, c.offerWhole())
	}
	return offers, nil
}

// choose looks whether every battery answers for itself.
func (c *windowsPower) choose() {
	c.chosen, c.whole = true, true
	paths, err := c.calls.Batteries()
	if err != nil || len(paths) == 0 {
		return
	}
	for _, path := range paths {
		if !c.answers(path) {
			return
		}
	}
	c.each, c.whole = paths, false
}

func (c *windowsPower) answers(path string) bool {
	d, err := c.calls.OpenDevice(path)
	if err != nil {
		return false
	}
	defer d.Close()
	tag, err := batteryTag(d)
	if err != nil {
		return false
	}
	info, err := askInformation(d, tag)
	return err == nil && info.usable()
}

// batteryFields are the sensors of a battery in the order in which they are read.
var batteryFields = []run.Sensor{
	{ID: run.BatteryPower, Unit: "watts", Resolution: 1e-3},
	{ID: run.BatteryEnergy, Unit: "joules", Resolution: 3.6},
	{ID: run.BatteryEnergyFull, Unit: "joules", Resolution: 3.6},
	{ID: run.BatteryCharge, Unit: "ratio", Resolution: 1e-6},
	{ID: run.BatteryDirection, Resolution: 1},
	{ID: run.BatteryEnergyDesign, Unit: "joules", Resolution: 3.6},
	{ID: run.BatteryVoltage, Unit: "volts", Resolution: 1e-3},
}

// wholeFields is how many of them the system's call tells.
const wholeFields = 5

func (r batteryReading) fill(dst []float64) {
	all := [...]float64{r.power, r.content, r.full, r.charge(), r.direction, r.design, r.voltage}
	copy(dst, all[:])
}

func batteryOffer(n int, instance, source string, open func() (Probe, error)) Offer {
	o := Offer{MinInterval: windowsBatteryInterval, Open: open}
	for _, s := range batteryFields[:n] {
		s.Instance, s.Source = instance, source
		o.Sensors = append(o.Sensors, s)
	}
	return o
}

func (c *windowsPower) offerWhole() Offer {
	return batteryOffer(wholeFields, "", batteryStateSource, func() (Probe, error) { return &wholeBattery{calls: c.calls}, nil })
}

func (c *windowsPower) offerBattery(path string) Offer {
	return batteryOffer(len(batteryFields), deviceName(path), path, func() (Probe, error) {
		d, err := c.calls.OpenDevice(path)
		if err != nil {
			return nil, err
		}
		return &controlledBattery{device: d}, nil
	})
}

// deviceName is the part of a device's path that tells devices of a kind apart and
// stays over restarts: `\\?\acpi#pnp0c0a#1#{...}` is pnp0c0a#1.
func deviceName(path string) string {
	parts := strings.Split(strings.TrimPrefix(path, `\\?\`), "#")
	if len(parts) < 3 {
		return path
	}
	return strings.ToLower(strings.Join(parts[1:3], "#"))
}

// supplyCall tells whether mains feeds the machine.
type supplyCall struct {
	calls  powerCalls
	buf    [powerStatusSize]byte
	repeat repeatedError
}

func (p *supplyCall) Read(_ time.Duration, dst []float64) error {
	dst[0] = math.NaN()
	if err := p.calls.PowerStatus(&p.buf); err != nil {
		return p.repeat.of(err)
	}
	dst[0] = decodePowerStatus(&p.buf).online
	return nil
}

func (*supplyCall) Close() error { return nil }

// wholeBattery reads all batteries as one. What that call leaves open of charge
// and direction the other one may know.
type wholeBattery struct {
	calls  powerCalls
	state  [batteryStateSize]byte
	status [powerStatusSize]byte
	repeat repeatedError
}

func (p *wholeBattery) Read(_ time.Duration, dst []float64) error {
	unknownBattery().fill(dst)
	if err := p.calls.BatteryState(&p.state); err != nil {
		return p.repeat.of(err)
	}
	r, ok := decodeBatteryState(&p.state)
	if !ok {
		return nil // taken out: no fault
	}
	r.fill(dst)
	if err := p.calls.PowerStatus(&p.status); err != nil {
		return p.repeat.of(err)
	}
	s := decodePowerStatus(&p.status)
	if math.IsNaN(dst[3]) {
		dst[3] = s.charge
	}
	if math.IsNaN(dst[4]) {
		dst[4] = s.direction
	}
	return nil
}

func (*wholeBattery) Close() error { return nil }

// controlledBattery reads one battery by its driver.
type controlledBattery struct {
	device controlDevice
	tag    uint32 // 0: still to be asked
	info   batteryInformation
	in     [batteryStatusAskingSize]byte
	out    [batteryStatusSize]byte
	repeat repeatedError
}

func (p *controlledBattery) Read(_ time.Duration, dst []float64) error {
	unknownBattery().fill(dst)
	if p.tag == 0 {
		if err := p.askWhichBattery(); err == errNoBattery {
			return nil // an empty bay is no fault
		} else if err != nil {
			return p.repeat.of(err)
		}
	}
	r, err := askStatus(p.device, p.tag, &p.in, &p.out)
	if err != nil {
		p.tag = 0 // it may be another battery by now
		return p.repeat.of(err)
	}
	r.full, r.design = p.info.full, p.info.design
	r.fill(dst)
	return nil
}

// askWhichBattery asks who is in the bay.
func (p *controlledBattery) askWhichBattery() error {
	tag, err := batteryTag(p.device)
	if err != nil {
		return err
	}
	if p.info, err = askInformation(p.device, tag); err != nil {
		return err
	}
	p.tag = tag
	return nil
}

func (p *controlledBattery) Close() error { return p.device.Close() }
