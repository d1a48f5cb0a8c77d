package collectors

import (
	"encoding/binary"
	"math"
)

// What the documented power calls of Windows return, decoded on every system so
// that the decoding is tested where the tests run.

// powerStatusSize is the size of SYSTEM_POWER_STATUS (winbase.h).
const powerStatusSize = 12

// powerStatus is a decoded SYSTEM_POWER_STATUS. NaN is unknown.
type powerStatus struct {
	online    float64 // 1 on mains, 0 on battery
	charge    float64 // 0 to 1
	direction float64 // as run.BatteryDirection; a battery that drains on mains seems at rest
	battery   bool    // there is one
}

// decodePowerStatus reads the structure that GetSystemPowerStatus fills (Microsoft
// Learn, SYSTEM_POWER_STATUS). A flag of 255 means unknown as a whole, so it is
// asked before the bit 128, which means that there is no battery.
func decodePowerStatus(b *[powerStatusSize]byte) powerStatus {
	s := powerStatus{online: math.NaN(), charge: math.NaN(), direction: math.NaN()}
	line, flag, percent := b[0], b[1], b[2]
	if line <= 1 {
		s.online = float64(line)
	}
	s.battery = flag == 255 || flag&128 == 0
	if s.battery && percent <= 100 {
		s.charge = float64(percent) / 100
	}
	switch {
	case flag == 255 || !s.battery:
	case flag&8 != 0:
		s.direction = -1
	case line == 0:
		s.direction = 1
	case line == 1:
		s.direction = 0
	}
	return s
}

// systemBatteryState is the level of CallNtPowerInformation that asks for a
// SYSTEM_BATTERY_STATE (POWER_INFORMATION_LEVEL, winnt.h), batteryStateSize the
// size of that.
const (
	systemBatteryState = 5
	batteryStateSize   = 32
)

// decodeBatteryState reads what CallNtPowerInformation(SystemBatteryState) fills:
// all batteries of the system as one. Its content is in mWh, its rate in mW as a
// LONG, negative while discharging, though some batteries report only discharging
// ones. ok is false without a battery.
func decodeBatteryState(b *[batteryStateSize]byte) (r batteryReading, ok bool) {
	if b[1] == 0 {
		return unknownBattery(), false
	}
	word := func(at int) uint32 { return binary.LittleEndian.Uint32(b[at:]) }
	r = unknownBattery()
	r.direction = directionOf(b[3] != 0, b[2] != 0)
	if word(8) != 0 { // else nothing is known of the content
		r.full, r.content = milliwattHours(word(8)), milliwattHours(word(12))
	}
	r.power = r.discharge(word(16))
	return r, true
}

// batteryReading is what a battery says, in SI units, NaN where it does not.
type batteryReading struct {
	power, content, full, design, direction, voltage float64
}

func unknownBattery() batteryReading {
	nan := math.NaN()
	return batteryReading{nan, nan, nan, nan, nan, nan}
}

// charge is the content's share of the full content, 0 to 1.
func (r batteryReading) charge() float64 {
	if !(r.full > 0) {
		return math.NaN()
	}
	return min(r.content/r.full, 1)
}

// Unknown values (poclass.h): capacity and voltage, and rate.
const (
	unknownCapacity = 0xFFFFFFFF
	unknownRate     = 0x80000000
)

// milliwattHours is a content in J. 1 mWh = 3.6 J.
func milliwattHours(v uint32) float64 {
	if v == unknownCapacity {
		return math.NaN()
	}
	return float64(v) * 3.6
}

// discharge is a rate in mW as power that leaves the battery, W. Where the
// direction is known it decides, as some batteries report magnitudes alone.
func (r batteryReading) discharge(rate uint32) float64 {
	if rate == unknownRate || rate == unknownCapacity || rate == 0 && r.direction == 1 {
		return math.NaN() // a battery that discharges does not give 0 W
	}
	watts := float64(int32(rate)) / 1000
	if r.direction == 1 || r.direction == -1 {
		return r.direction * math.Abs(watts)
	}
	return -watts
}

// directionOf is the direction of a battery as run.BatteryDirection; both at once
// exclude each other, so they say nothing.
func directionOf(discharging, charging bool) float64 {
	switch {
	case discharging && charging:
		return math.NaN()
	case discharging:
		return 1
	case charging:
		return -1
	}
	return 0
}
