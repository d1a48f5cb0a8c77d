package collectors

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf16"

	"sweepd/run"
)

// The Energy Metering Interface of Windows (emi.h): a driver whose channels count
// energy. Its control codes have device 0x22, read access, functions 0 to 3. Codes
// and layouts are from memory; no such device was at hand.
const (
	meterVersion      = 0x224000
	meterMetadataSize = 0x224004
	meterMetadata     = 0x224008
	meterMeasurement  = 0x22400C
)

// meterChannel is one counter of a meter.
type meterChannel struct {
	name string
	unit uint32 // 0: picowatt hours, the one unit there is
}

var errShortMetadata = errors.New("energy meter: its description ends too early")

// decodeMeterV1 reads an EMI_METADATA_V1, of a meter with one channel: unit (4
// bytes), maker and model (16 characters of 2 bytes each), revision, size of the
// name in bytes, name.
func decodeMeterV1(b []byte) ([]meterChannel, error) {
	const size = 4 + 32 + 32 + 2
	if len(b) < size+2 {
		return nil, errShortMetadata
	}
	name, _, err := meterText(b[size:])
	return []meterChannel{{name, binary.LittleEndian.Uint32(b)}}, err
}

// decodeMeterV2 reads an EMI_METADATA_V2: maker, model, revision, number of
// channels, then for each its unit, the size of its name in bytes, its name.
func decodeMeterV2(b []byte) ([]meterChannel, error) {
	const count = 32 + 32 + 2
	if len(b) < count+2 {
		return nil, errShortMetadata
	}
	n := int(binary.LittleEndian.Uint16(b[count:]))
	list := make([]meterChannel, 0, min(n, 64))
	for rest := b[count+2:]; n > 0; n-- {
		if len(rest) < 6 {
			return nil, errShortMetadata
		}
		c := meterChannel{unit: binary.LittleEndian.Uint32(rest)}
		var err error
		if c.name, rest, err = meterText(rest[4:]); err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, nil
}

// meterText reads a size in bytes and so much UTF-16, which may end with zeros.
func meterText(b []byte) (text string, rest []byte, err error) {
	size := int(binary.LittleEndian.Uint16(b))
	if b = b[2:]; size > len(b) {
		return "", nil, errShortMetadata
	}
	var units []uint16
	for i := 0; i+1 < size; i += 2 {
		units = append(units, binary.LittleEndian.Uint16(b[i:]))
	}
	return strings.TrimRight(string(utf16.Decode(units)), "\x00"), b[size:], nil
}

// meterDomains are the ends of the names that processors' channels have, and what
// they count; from memory.
var meterDomains = []struct{ end, energy, power string }{
	{"_PKG", run.PackageEnergy, run.PackagePower},
	{"_PP0", run.CoreEnergy, run.CorePower},
	{"_PP1", run.GPUEnergy, run.GPUPower},
	{"_DRAM", run.DRAMEnergy, run.DRAMPower},
}

// sensors are those of a channel: energy and mean power.
func (c meterChannel) sensors(source, fallback string) []run.Sensor {
	instance, energy, power := c.name, run.Energy, run.Power
	if instance == "" {
		instance = fallback
	}
	for _, d := range meterDomains {
		if name, found := strings.CutSuffix(instance, d.end); found {
			instance, energy, power = strings.ToLower(name), d.energy, d.power
			break
		}
	}
	return []run.Sensor{
		{ID: energy, Instance: instance, Unit: "joules", Kind: run.Counter, Source: source, Resolution: 1e-6},
		{ID: power, Instance: instance, Unit: "watts", Source: source, Resolution: 1e-3},
	}
}

// meterMicrojoules is a count of picowatt hours in µJ, rounded down: 1 pWh is
// 3600 pJ. Nothing overflows: the whole range of the counter is 6.6e16 µJ.
func meterMicrojoules(pwh uint64) int64 { return int64(pwh/10000*36 + pwh%10000*36/10000) }

// meterDescription asks a meter for its channels.
func meterDescription(d controlDevice) ([]meterChannel, error) {
	var small [4]byte
	n, err := d.Control(meterVersion, nil, small[:2])
	if err != nil || n != 2 {
		return nil, fmt.Errorf("ask the energy meter for its version: %d bytes, %w", n, orShort(err))
	}
	version := binary.LittleEndian.Uint16(small[:])
	if n, err = d.Control(meterMetadataSize, nil, small[:]); err != nil || n != 4 {
		return nil, fmt.Errorf("ask the energy meter for the size of its description: %d bytes, %w", n, orShort(err))
	}
	size := binary.LittleEndian.Uint32(small[:])
	if size > 1<<16 {
		return nil, fmt.Errorf("energy meter: a description of %d bytes is not believed", size)
	}
	text := make([]byte, size)
	if n, err = d.Control(meterMetadata, nil, text); err != nil {
		return nil, fmt.Errorf("ask the energy meter for its description: %w", err)
	}
	switch version {
	case 1:
		return decodeMeterV1(text[:n])
	case 2:
		return decodeMeterV2(text[:n])
	}
	return nil, fmt.Errorf("energy meter: version %d of the interface is not known, only 1 and 2", version)
}

func orShort(err error) error {
	if err == nil {
		return errShortMetadata
	}
	return err
}

// meterCalls are the calls of the system; the tests have their own.
type meterCalls interface {
	Meters() ([]string, error)
	OpenDevice(path string) (controlDevice, error)
}

// energyMeters reads the meters of a Windows machine.
type energyMeters struct{ calls meterCalls }

func (energyMeters) Name() string { return "energy_meter" }

const meterRemedy = "run the agent as a service (sweepd service install), whose account may open the meters"

func (c energyMeters) Scan() (offers []Offer, absences []Absence) {
	const source = "Energy Metering Interface"
	paths, err := c.calls.Meters()
	if err != nil || len(paths) == 0 {
		why := "no such driver"
		if err != nil {
			why = err.Error()
		}
		return nil, []Absence{{Collector: c.Name(), Source: source, Why: why}}
	}
	for _, path := range paths {
		channels, err := c.describe(path)
		if err != nil {
			absences = append(absences, Absence{Collector: c.Name(), Source: path, Why: err.Error(), Remedy: meterRemedy})
			continue
		}
		o := Offer{Remedy: meterRemedy, Open: func() (Probe, error) { return c.open(path, len(channels)) }}
		for i, ch := range channels {
			o.Sensors = append(o.Sensors, ch.sensors(path, fmt.Sprintf("%s/%d", deviceName(path), i))...)
		}
		offers = append(offers, o)
	}
	return offers, absences
}

func (c energyMeters) describe(path string) ([]meterChannel, error) {
	d, err := c.calls.OpenDevice(path)
	if err != nil {
		return nil, err
	}
	defer d.Close()
	channels, err := meterDescription(d)
	if err != nil {
		return nil, err
	}
	for _, ch := range channels {
		if ch.unit != 0 {
			return nil, fmt.Errorf("energy meter: unit %d of channel %q is not known, only picowatt hours", ch.unit, ch.name)
		}
	}
	return channels, nil
}

func (c energyMeters) open(path string, channels int) (Probe, error) {
	d, err := c.calls.OpenDevice(path)
	if err != nil {
		return nil, err
	}
	return &energyMeter{device: d, buf: make([]byte, 16*channels), counts: make([]energyCount, channels)}, nil
}

// energyMeter reads all channels of a meter with one call: for each the energy
// since some moment in pWh and the time of the count in 100 ns, 8 bytes each
// (EMI_CHANNEL_MEASUREMENT_DATA).
type energyMeter struct {
	device controlDevice
	buf    []byte
	counts []energyCount
	repeat repeatedError
}

func (p *energyMeter) Read(now time.Duration, dst []float64) error {
	setMissing(dst)
	if err := controlWhole(p.device, meterMeasurement, nil, p.buf); err != nil {
		return p.repeat.of(fmt.Errorf("ask the energy meter: %w", err))
	}
	for i := range p.counts {
		dst[2*i], dst[2*i+1] = p.counts[i].next(now, meterMicrojoules(binary.LittleEndian.Uint64(p.buf[16*i:])))
	}
	return nil
}

func (p *energyMeter) Close() error { return p.device.Close() }
