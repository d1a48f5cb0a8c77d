package collectors

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf16"
)

// The Energy Metering Interface of Windows (emi.h: Microsoft's SDK documentation,
// structures and control codes): a driver whose channels count energy. Its codes
// have device 0x22, read access, functions 0 to 3. No such device was at hand.
const (
	meterVersion      = 0x224000
	meterMetadataSize = 0x224004
	meterMetadata     = 0x224008
	meterMeasurement  = 0x22400C
)

// meterClass is GUID_DEVICE_ENERGY_METER (emi.h).
var meterClass = deviceClass{0x45bd8344, 0x7ed6, 0x49cf, [8]byte{0xa4, 0x40, 0xc2, 0x76, 0xc9, 0x33, 0xb0, 0x53}}

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
	var found []meterRail
	for _, path := range paths {
		rails, silent, err := c.rails(path)
		if err != nil {
			absences = append(absences, Absence{Collector: c.Name(), Source: path, Why: err.Error(), Remedy: meterRemedy})
			continue
		}
		found = append(found, rails...)
		for _, r := range silent {
			absences = append(absences, Absence{Collector: c.Name(), Source: r.source(""), Why: "it never counted: the driver names a rail that is not there"})
		}
	}
	return c.offers(found), absences
}

// rails are the channels of a meter that count, and those that never did: a rail
// that a machine does not have stays at 0.
func (c energyMeters) rails(path string) (rails, silent []meterRail, err error) {
	d, err := c.calls.OpenDevice(path)
	if err != nil {
		return nil, nil, err
	}
	defer d.Close()
	channels, err := meterDescription(d)
	if err != nil {
		return nil, nil, err
	}
	counts := make([]byte, measurementSize*len(channels))
	if err := controlWhole(d, meterMeasurement, nil, counts); err != nil {
		return nil, nil, fmt.Errorf("ask the energy meter: %w", err)
	}
	for i, ch := range channels {
		r := meterRail{path: path, at: i, of: len(channels), name: ch.name}
		switch energy, _ := decodeMeasurement(counts, i); {
		case ch.unit != 0:
			return nil, nil, fmt.Errorf("energy meter: unit %d of channel %q is not known, only picowatt hours", ch.unit, ch.name)
		case r.isTotal():
		case energy == 0:
			silent = append(silent, r)
		default:
			rails = append(rails, r)
		}
	}
	return rails, silent, nil
}

// offers makes one offer for each meter of all of its rails, which are read with
// one call.
func (c energyMeters) offers(found []meterRail) (offers []Offer) {
	sensors := meterSensors(found)
	for i := 0; i < len(found); {
		first := found[i]
		o := Offer{Remedy: meterRemedy}
		var at []int
		for ; i < len(found) && found[i].path == first.path; i++ {
			o.Sensors = append(o.Sensors, sensors[i][:]...)
			at = append(at, found[i].at)
		}
		o.Open = func() (Probe, error) {
			d, err := c.calls.OpenDevice(first.path)
			if err != nil {
				return nil, err
			}
			return &energyMeter{device: d, buf: make([]byte, measurementSize*first.of), at: at, counts: make([]stampedCount, len(at))}, nil
		}
		offers = append(offers, o)
	}
	return offers
}

// measurementSize is the size of an EMI_CHANNEL_MEASUREMENT_DATA.
const measurementSize = 16

// decodeMeasurement reads what channel i counted: the energy since some moment in
// pWh and the time of that count in 100 ns.
func decodeMeasurement(b []byte, i int) (energy, stamp uint64) {
	b = b[measurementSize*i:]
	return binary.LittleEndian.Uint64(b), binary.LittleEndian.Uint64(b[8:])
}

// energyMeter reads all rails of a meter with one call.
type energyMeter struct {
	device controlDevice
	buf    []byte // one measurement for each of its channels
	at     []int  // which of them are rails
	counts []stampedCount
	repeat repeatedError
}

var errMeterStands = fmt.Errorf("its counts carry the same time for over %v, so no power can be told", meterSilence)

func (p *energyMeter) Read(now time.Duration, dst []float64) error {
	setMissing(dst)
	if err := controlWhole(p.device, meterMeasurement, nil, p.buf); err != nil {
		return p.repeat.of(fmt.Errorf("ask the energy meter: %w", err))
	}
	var first error
	for i, at := range p.at {
		energy, stamp := decodeMeasurement(p.buf, at)
		var err error
		if dst[2*i], dst[2*i+1], err = p.counts[i].next(now, energy, stamp); err != nil && first == nil {
			first = p.repeat.of(fmt.Errorf("energy meter, channel %d: %w", at, err))
		}
	}
	return first
}

func (p *energyMeter) Close() error { return p.device.Close() }
