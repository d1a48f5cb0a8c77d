package collectors

import (
	"bytes"
	"debug/pe"
	"encoding/binary"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"sweepd/run"
)

// compiled are the variables of testdata/windows_headers.c as a compiler for
// Windows lays them out.
type compiled struct {
	t    *testing.T
	file *pe.File
}

const compiler = "x86_64-w64-mingw32-gcc"

// compiledHeaders are compiled once for all tests.
var compiledHeaders = sync.OnceValues(func() (*pe.File, error) {
	dir, err := os.MkdirTemp("", "sweepd-headers")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	object := filepath.Join(dir, "windows_headers.o")
	if out, err := exec.Command(compiler, "-Wall", "-Werror", "-c", "-o", object, "testdata/windows_headers.c").CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%w\n%s", err, out)
	}
	b, err := os.ReadFile(object)
	if err != nil {
		return nil, err
	}
	return pe.NewFile(bytes.NewReader(b))
})

func compileWindowsHeaders(t *testing.T) compiled {
	if _, err := exec.LookPath(compiler); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatalf("needs %s: see .ci/install", compiler)
		}
		t.Skipf("needs %s: see .ci/install", compiler)
	}
	f, err := compiledHeaders()
	if err != nil {
		t.Fatal(err)
	}
	return compiled{t, f}
}

// bytes are the first n of a variable.
func (c compiled) bytes(name string, n int) []byte {
	c.t.Helper()
	for _, s := range c.file.Symbols {
		if s.Name != name || s.SectionNumber < 1 {
			continue
		}
		b, err := c.file.Sections[s.SectionNumber-1].Data()
		if err != nil || int(s.Value)+n > len(b) {
			c.t.Fatalf("%s: %v, %d bytes at %d of %d", name, err, n, s.Value, len(b))
		}
		return b[s.Value:][:n]
	}
	c.t.Fatalf("testdata/windows_headers.c has no %s", name)
	return nil
}

func (c compiled) words(name string, n int) (list []uint32) {
	c.t.Helper()
	b := c.bytes(name, 4*n)
	for i := range n {
		list = append(list, binary.LittleEndian.Uint32(b[4*i:]))
	}
	return list
}

func (c compiled) class(name string) (g deviceClass) {
	c.t.Helper()
	if _, err := binary.Decode(c.bytes(name, 16), binary.LittleEndian, &g); err != nil {
		c.t.Fatal(err)
	}
	return g
}

// What the collectors know of Windows, against its headers: codes, sizes, device
// classes, and structures that a compiler filled by the names of their fields.
func TestAgainstWindowsHeaders(t *testing.T) {
	c := compileWindowsHeaders(t)
	codes := []uint32{batteryQueryTag, batteryQueryInformation, batteryQueryStatus, batteryIsSystem, batteryIsRelative, batteryShortTerm,
		unknownCapacity, unknownCapacity, unknownRate, systemBatteryState, 0, 0}
	if want := c.words("codes", len(codes)); !slices.Equal(codes, want) {
		t.Errorf("codes are %x, want %x", codes, want)
	}
	sizes := []uint32{powerStatusSize, batteryStateSize, batteryInformationSize, batteryStatusSize, batteryQuestionSize, batteryStatusAskingSize}
	if want := c.words("sizes", len(sizes)); !slices.Equal(sizes, want) {
		t.Errorf("sizes are %d, want %d", sizes, want)
	}
	if want := c.class("GUID_DEVICE_BATTERY"); batteryClass != want {
		t.Errorf("the class of batteries is %x, want %x", batteryClass, want)
	}
	if got, want := decodePowerStatus((*[powerStatusSize]byte)(c.bytes("on_mains", powerStatusSize))), (powerStatus{1, 0.64, -1, true}); got != want {
		t.Errorf("SYSTEM_POWER_STATUS is %+v, want %+v", got, want)
	}
	for name, sign := range map[string]float64{"whole": 1, "whole_charging": -1} {
		r, ok := decodeBatteryState((*[batteryStateSize]byte)(c.bytes(name, batteryStateSize)))
		if !ok || r.power != sign*4.83 || r.direction != sign || r.content != 49450*3.6 || r.full != 50060*3.6 {
			t.Errorf("SYSTEM_BATTERY_STATE %s is %+v, %v", name, r, ok)
		}
	}
	if i := decodeBatteryInformation((*[batteryInformationSize]byte)(c.bytes("information", batteryInformationSize))); !i.usable() || i.design != 47520*3.6 || i.full != 50060*3.6 {
		t.Errorf("BATTERY_INFORMATION is %+v", i)
	}
	for name, sign := range map[string]float64{"discharging": 1, "charging": -1} {
		r := decodeBatteryStatus((*[batteryStatusSize]byte)(c.bytes(name, batteryStatusSize)))
		if r.power != sign*4.83 || r.direction != sign || r.content != 49450*3.6 || r.voltage != 12.229 {
			t.Errorf("BATTERY_STATUS %s is %+v", name, r)
		}
	}
	if r := decodeBatteryStatus((*[batteryStatusSize]byte)(c.bytes("unknown", batteryStatusSize))); r.power == r.power || r.content == r.content || r.voltage == r.voltage {
		t.Errorf("nothing known is %+v", r)
	}
}

// The questions that batteries are asked are those structures.
func TestQuestionsAgainstWindowsHeaders(t *testing.T) {
	c := compileWindowsHeaders(t)
	d := &asked{answering: *answeringBattery(t, "00 00 00 80"), in: map[uint32][]byte{}}
	if _, err := askInformation(d, 77); err != nil {
		t.Error(err)
	}
	if _, err := askStatus(d, 77, &[batteryStatusAskingSize]byte{}, &[batteryStatusSize]byte{}); err != nil {
		t.Error(err)
	}
	for code, name := range map[uint32]string{batteryQueryInformation: "question", batteryQueryStatus: "status_question"} {
		if want := c.bytes(name, len(d.in[code])); !slices.Equal(d.in[code], want) {
			t.Errorf("%s is % x, want % x", name, d.in[code], want)
		}
	}
}

// asked keeps what it was asked with.
type asked struct {
	answering
	in map[uint32][]byte
}

func (d *asked) Control(code uint32, in, out []byte) (int, error) {
	d.in[code] = slices.Clone(in)
	return d.answering.Control(code, in, out)
}

// The Energy Metering Interface as its documentation declares it and a compiler
// lays it out.
func TestEnergyMeterAgainstItsDeclarations(t *testing.T) {
	c := compileWindowsHeaders(t)
	codes := []uint32{meterVersion, meterMetadataSize, meterMetadata, meterMeasurement}
	if want := c.words("emi_codes", len(codes)); !slices.Equal(codes, want) {
		t.Errorf("codes are %x, want %x", codes, want)
	}
	if want := c.class("GUID_DEVICE_ENERGY_METER"); meterClass != want {
		t.Errorf("the class of meters is %x, want %x", meterClass, want)
	}
	meter := func(version uint64, description []byte, counts int) *answering {
		return &answering{answers: map[uint32][]byte{meterVersion: word(2, version), meterMetadataSize: word(4, uint64(len(description))),
			meterMetadata: description, meterMeasurement: c.bytes("measurement", counts*measurementSize)}}
	}
	for name, meter := range map[string]*answering{
		"rail": meter(1, c.bytes("metadata_1", 72+10), 1),
		"p0":   meter(2, c.bytes("metadata_2", 68+6+16+6+14), 2),
	} {
		offers, absences := energyMeters{&scriptedCalls{devices: map[string]*answering{"m": meter}}}.Scan()
		if len(absences) != 0 || len(offers) != 1 {
			t.Fatalf("%s: %v, %v", name, offers, absences)
		}
		want := []string{run.PackageEnergy + " p0", run.CoreEnergy + " p0"}
		if name == "rail" {
			want = []string{run.Energy + " rail"}
		}
		if got := identities(offers); !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	for i, want := range []count{{1e12, 600000000}, {5e11, 700000000}} {
		if energy, stamp := decodeMeasurement(c.bytes("measurement", 2*measurementSize), i); energy != want.energy || stamp != want.stamp {
			t.Errorf("count %d is %d at %d, want %v", i, energy, stamp, want)
		}
	}
}

// Display, radios and power mode, against the headers.
func TestSurroundingsAgainstWindowsHeaders(t *testing.T) {
	c := compileWindowsHeaders(t)
	// Of the list of interfaces and SYSTEM_POWER_STATUS the collector knows the places 8
	// and 0, and the byte 3.
	codes := []uint32{queryBrightness, displayBrightnessSize, brightnessOnMains, currentSettings, displayModeSize, displayModeSizeAt, displayFrequencyAt,
		wlanRadioState, wlanRadios, wlanRadioSize, radioOff, 8, 0, 3}
	if want := c.words("surroundings", len(codes)); !slices.Equal(codes, want) {
		t.Errorf("codes are %x, want %x", codes, want)
	}
	if want := c.class("GUID_BTHPORT_DEVICE_INTERFACE"); bluetoothClass != want {
		t.Errorf("the class of Bluetooth radios is %x, want %x", bluetoothClass, want)
	}
	if got, ok := decodeBrightness(c.bytes("dimmed", displayBrightnessSize)); !ok || got != "0.6" {
		t.Errorf("a display dimmed to 60 %% on battery is %q, %v", got, ok)
	}
	if got := decodeRefresh(c.bytes("display_mode", displayModeSize)); got != "120" {
		t.Errorf("120 Hz are %q", got)
	}
	for name, want := range map[string]string{"radio_on": "on", "radio_off": "off", "radio_switched_off": "off by its switch"} {
		if got := decodeRadioState(c.bytes(name, 4+wlanRadios*wlanRadioSize)); got != want {
			t.Errorf("%s is %q", name, got)
		}
	}
}

// What is cut short, or says nothing, is missing.
func TestSurroundingsUnknown(t *testing.T) {
	for _, b := range [][]byte{nil, {1, 50}, {0, 50, 50}, {1, 101, 50}} {
		if got, ok := decodeBrightness(b); ok {
			t.Errorf("brightness % x is %q", b, got)
		}
	}
	if got := decodeRefresh(make([]byte, displayModeSize)); got != "" {
		t.Errorf("the hardware's default rate is %q", got)
	}
	for _, b := range [][]byte{nil, {1, 0, 0, 0}, {0, 0, 0, 0}, make([]byte, 4+wlanRadioSize)} {
		if got := decodeRadioState(b); got != "" {
			t.Errorf("radio % x is %q", b, got)
		}
	}
}
