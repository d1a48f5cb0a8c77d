package collectors

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// deviceClass is an interface class of devices, a GUID as Windows lays it out.
type deviceClass struct {
	Data1        uint32
	Data2, Data3 uint16
	Data4        [8]byte
}

// batteryClass is GUID_DEVICE_BATTERY (poclass.h).
var batteryClass = deviceClass{0x72631e54, 0x78a4, 0x11d0, [8]byte{0xbc, 0xf7, 0x00, 0xaa, 0x00, 0xb7, 0xb3, 0x2a}}

// The control codes of a Windows battery's driver (poclass.h): device 0x29, read
// access, functions 0x10, 0x11, 0x13. They are documented for every battery that
// the system shows.
const (
	batteryQueryTag         = 0x294040
	batteryQueryInformation = 0x294044
	batteryQueryStatus      = 0x29404C
)

// Capabilities in BATTERY_INFORMATION.
const (
	batteryIsSystem   = 0x80000000
	batteryIsRelative = 0x40000000 // content in units of its own, not mWh
	batteryShortTerm  = 0x20000000 // an uninterruptible supply
)

// controlDevice takes control codes, as DeviceIoControl: it fills out and says how
// much of it.
type controlDevice interface {
	Control(code uint32, in, out []byte) (n int, err error)
	Close() error
}

// controlWhole sends a code whose answer fills out.
func controlWhole(d controlDevice, code uint32, in, out []byte) error {
	n, err := d.Control(code, in, out)
	if err == nil && n != len(out) {
		err = fmt.Errorf("got %d bytes, want %d", n, len(out))
	}
	return err
}

var errNoBattery = errors.New("no battery in the bay")

// batteryTag asks for the tag of the battery that is in the bay; it changes with
// the battery.
func batteryTag(d controlDevice) (uint32, error) {
	var in, out [4]byte // in: how long to wait for one, 0 ms
	n, err := d.Control(batteryQueryTag, in[:], out[:])
	if err != nil {
		return 0, fmt.Errorf("ask for the battery's tag: %w", err)
	}
	tag := binary.LittleEndian.Uint32(out[:])
	if n != len(out) || tag == 0 {
		return 0, errNoBattery
	}
	return tag, nil
}

// batteryInformation is a decoded BATTERY_INFORMATION.
type batteryInformation struct {
	capabilities uint32
	design, full float64 // J
}

const batteryInformationSize = 36

const (
	batteryQuestionSize     = 12 // BATTERY_QUERY_INFORMATION
	batteryStatusAskingSize = 20 // BATTERY_WAIT_STATUS
)

func (i batteryInformation) usable() bool {
	return i.capabilities&batteryIsSystem != 0 && i.capabilities&(batteryIsRelative|batteryShortTerm) == 0
}

func decodeBatteryInformation(b *[batteryInformationSize]byte) batteryInformation {
	word := func(at int) uint32 { return binary.LittleEndian.Uint32(b[at:]) }
	i := batteryInformation{capabilities: word(0), design: milliwattHours(word(12)), full: milliwattHours(word(16))}
	if i.capabilities&batteryIsRelative != 0 {
		i.design, i.full = math.NaN(), math.NaN()
	}
	return i
}

// askInformation sends a BATTERY_QUERY_INFORMATION for level 0.
func askInformation(d controlDevice, tag uint32) (batteryInformation, error) {
	var in [batteryQuestionSize]byte
	binary.LittleEndian.PutUint32(in[:], tag)
	var out [batteryInformationSize]byte
	if err := controlWhole(d, batteryQueryInformation, in[:], out[:]); err != nil {
		return batteryInformation{}, fmt.Errorf("ask for the battery's information: %w", err)
	}
	return decodeBatteryInformation(&out), nil
}

const batteryStatusSize = 16

// decodeBatteryStatus reads a BATTERY_STATUS: state (2 discharging, 4 charging),
// content in mWh, voltage in mV, rate in mW, negative while discharging.
func decodeBatteryStatus(b *[batteryStatusSize]byte) batteryReading {
	word := func(at int) uint32 { return binary.LittleEndian.Uint32(b[at:]) }
	r := unknownBattery()
	state := word(0)
	r.direction = directionOf(state&2 != 0, state&4 != 0)
	r.content = milliwattHours(word(4))
	if v := word(8); v != unknownCapacity {
		r.voltage = float64(v) / 1000
	}
	r.power = r.discharge(word(12))
	return r
}

// askStatus sends a BATTERY_WAIT_STATUS that does not wait.
func askStatus(d controlDevice, tag uint32, in *[batteryStatusAskingSize]byte, out *[batteryStatusSize]byte) (batteryReading, error) {
	binary.LittleEndian.PutUint32(in[:], tag)
	if err := controlWhole(d, batteryQueryStatus, in[:], out[:]); err != nil {
		return unknownBattery(), fmt.Errorf("ask for the battery's status: %w", err)
	}
	return decodeBatteryStatus(out), nil
}
