package collectors

import (
	"encoding/binary"
	"encoding/hex"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"sweepd/run"
)

// unhex reads bytes written as in the sources: two digits each, with spaces.
func unhex(t *testing.T, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func sameNumber(a, b float64) bool {
	return a == b || math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) < 1e-9*math.Abs(b)
}

// Bytes by SYSTEM_POWER_STATUS (winbase.h): line, flag, percent, saver, then two
// times of 4 bytes, little endian.
func TestPowerStatus(t *testing.T) {
	nan := math.NaN()
	for text, want := range map[string]powerStatus{
		"00 01 5a 00 90 33 00 00 ff ff ff ff": {0, 0.9, 1, true},     // on battery, high, 90 %, 13200 s
		"00 00 32 00 90 33 00 00 ff ff ff ff": {0, 0.5, 1, true},     // between high and low
		"01 09 64 00 ff ff ff ff ff ff ff ff": {1, 1, -1, true},      // on mains, high, charging
		"01 01 64 00 ff ff ff ff ff ff ff ff": {1, 1, 0, true},       // on mains, at rest
		"01 80 ff 00 ff ff ff ff ff ff ff ff": {1, nan, nan, false},  // no battery
		"ff ff ff 00 ff ff ff ff ff ff ff ff": {nan, nan, nan, true}, // all unknown: 255 is not the bit 128
	} {
		got := decodePowerStatus((*[powerStatusSize]byte)(unhex(t, text)))
		if !sameNumber(got.online, want.online) || !sameNumber(got.charge, want.charge) || !sameNumber(got.direction, want.direction) || got.battery != want.battery {
			t.Errorf("%s is %+v, want %+v", text, got, want)
		}
	}
}

// Bytes by BATTERY_STATUS (poclass.h); the first row is the example of a pack of
// 49450 mWh at 12.229 V that gives 4830 mW, 178020 J by 3.6 J a mWh.
func TestBatteryStatus(t *testing.T) {
	nan := math.NaN()
	for text, want := range map[string]batteryReading{
		"02 00 00 00 2a c1 00 00 c5 2f 00 00 22 ed ff ff": {power: 4.83, content: 178020, direction: 1, voltage: 12.229},
		"05 00 00 00 2a c1 00 00 c5 2f 00 00 de 12 00 00": {power: -4.83, content: 178020, direction: -1, voltage: 12.229},
		"02 00 00 00 2a c1 00 00 c5 2f 00 00 de 12 00 00": {power: 4.83, content: 178020, direction: 1, voltage: 12.229}, // a magnitude alone
		"01 00 00 00 2a c1 00 00 c5 2f 00 00 00 00 00 00": {power: 0, content: 178020, direction: 0, voltage: 12.229},
		"02 00 00 00 ff ff ff ff ff ff ff ff 00 00 00 80": {power: nan, content: nan, direction: 1, voltage: nan},
		"06 00 00 00 2a c1 00 00 c5 2f 00 00 22 ed ff ff": {power: 4.83, content: 178020, direction: nan, voltage: 12.229}, // both exclude each other
	} {
		got := decodeBatteryStatus((*[batteryStatusSize]byte)(unhex(t, text)))
		if !sameNumber(got.power, want.power) || !sameNumber(got.content, want.content) || !sameNumber(got.direction, want.direction) || !sameNumber(got.voltage, want.voltage) {
			t.Errorf("%s is %+v, want %+v", text, got, want)
		}
	}
}

// Bytes by BATTERY_INFORMATION (poclass.h): 47520 mWh when new, 50060 now.
func TestBatteryInformation(t *testing.T) {
	rest := " 01 00 00 00 4c 49 4f 4e a0 b9 00 00 8c c3 00 00 00 00 00 00 00 00 00 00 00 00 00 00 07 00 00 00"
	for text, usable := range map[string]bool{
		"00 00 00 80": true,  // of the system
		"00 00 00 c0": false, // in units of its own
		"00 00 00 a0": false, // an uninterruptible supply
		"00 00 00 00": false, // not of the system
	} {
		got := decodeBatteryInformation((*[batteryInformationSize]byte)(unhex(t, text+rest)))
		if got.usable() != usable || usable && (got.design != 47520*3.6 || got.full != 50060*3.6) {
			t.Errorf("%s is %+v, usable %v; want usable %v", text, got, got.usable(), usable)
		}
		if relative := text == "00 00 00 c0"; math.IsNaN(got.full) != relative {
			t.Errorf("%s: full is %v", text, got.full)
		}
	}
}

// Bytes by SYSTEM_BATTERY_STATE (winnt.h; layout from memory).
func TestBatteryState(t *testing.T) {
	r, ok := decodeBatteryState((*[batteryStateSize]byte)(unhex(t, "00 01 00 01 00 00 00 01 8c c3 00 00 2a c1 00 00 22 ed ff ff f8 90 00 00 00 00 00 00 00 00 00 00")))
	if !ok || r.power != 4.83 || r.content != 49450*3.6 || r.full != 50060*3.6 || r.direction != 1 || !sameNumber(r.charge(), 49450.0/50060) {
		t.Errorf("%+v, %v", r, ok)
	}
	r, ok = decodeBatteryState((*[batteryStateSize]byte)(unhex(t, "01 01 00 00 00 00 00 01 ff ff ff ff ff ff ff ff 00 00 00 80 ff ff ff ff 00 00 00 00 00 00 00 00")))
	if !ok || !math.IsNaN(r.power) || !math.IsNaN(r.content) || !math.IsNaN(r.charge()) || r.direction != 0 {
		t.Errorf("unknown: %+v, %v", r, ok)
	}
	// As Wine 8 answers where it knows nothing: no content, no rate.
	r, ok = decodeBatteryState(&[batteryStateSize]byte{0, 1, 0, 1})
	if !ok || !math.IsNaN(r.power) || !math.IsNaN(r.content) || !math.IsNaN(r.full) || r.direction != 1 {
		t.Errorf("nothing known: %+v, %v", r, ok)
	}
	if _, ok = decodeBatteryState(&[batteryStateSize]byte{1}); ok {
		t.Error("a machine without a battery has one")
	}
}

// The control codes of poclass.h and emi.h by the rule of CTL_CODE: device << 16 |
// access << 14 | function << 2 | method, with read access and buffers.
func TestControlCodes(t *testing.T) {
	code := func(device, function int) int { return device<<16 | 1<<14 | function<<2 }
	got := []int{batteryQueryTag, batteryQueryInformation, batteryQueryStatus, meterVersion, meterMetadataSize, meterMetadata, meterMeasurement}
	want := []int{2703424, 2703428, 2703436, code(0x22, 0), code(0x22, 1), code(0x22, 2), code(0x22, 3)}
	if !slices.Equal(got, want) || batteryQueryStatus != code(0x29, 0x13) {
		t.Errorf("%x, want %x", got, want)
	}
}

// answering is a device that answers control codes from a table.
type answering struct {
	answers map[uint32][]byte
	asked   []uint32
	closed  int
}

var errRefused = errors.New("refused by the driver")

func (d *answering) Control(code uint32, _, out []byte) (int, error) {
	d.asked = append(d.asked, code)
	a, ok := d.answers[code]
	if !ok {
		return 0, errRefused
	}
	return copy(out, a), nil
}

func (d *answering) Close() error { d.closed++; return nil }

// scriptedCalls is a Windows machine.
type scriptedCalls struct {
	status, state []byte // nil: the call fails
	devices       map[string]*answering
}

func (c *scriptedCalls) PowerStatus(b *[powerStatusSize]byte) error {
	if c.status == nil {
		return errRefused
	}
	copy(b[:], c.status)
	return nil
}

func (c *scriptedCalls) BatteryState(b *[batteryStateSize]byte) error {
	if c.state == nil {
		return errRefused
	}
	copy(b[:], c.state)
	return nil
}

func (c *scriptedCalls) list() (paths []string, err error) {
	for p := range c.devices {
		paths = append(paths, p)
	}
	slices.Sort(paths)
	return paths, nil
}

func (c *scriptedCalls) Batteries() ([]string, error) { return c.list() }
func (c *scriptedCalls) Meters() ([]string, error)    { return c.list() }

func (c *scriptedCalls) OpenDevice(path string) (controlDevice, error) {
	if d, ok := c.devices[path]; ok {
		return d, nil
	}
	return nil, errRefused
}

func answeringBattery(t *testing.T, capabilities string) *answering {
	return &answering{answers: map[uint32][]byte{
		batteryQueryTag:         {1, 0, 0, 0},
		batteryQueryInformation: unhex(t, capabilities+" 01 00 00 00 4c 49 4f 4e a0 b9 00 00 8c c3 00 00 00 00 00 00 00 00 00 00 00 00 00 00 07 00 00 00"),
		batteryQueryStatus:      unhex(t, "02 00 00 00 2a c1 00 00 c5 2f 00 00 22 ed ff ff"),
	}}
}

const (
	firstBay  = `\\?\acpi#PNP0C0A#1#{72631e54-78a4-11d0-bcf7-00aa00b7b32a}`
	secondBay = `\\?\acpi#PNP0C0A#2#{72631e54-78a4-11d0-bcf7-00aa00b7b32a}`
)

func portable(t *testing.T) *scriptedCalls {
	return &scriptedCalls{
		status:  unhex(t, "00 01 5a 00 90 33 00 00 ff ff ff ff"),
		state:   unhex(t, "00 01 00 01 00 00 00 01 18 87 01 00 54 82 01 00 44 da ff ff f8 90 00 00 00 00 00 00 00 00 00 00"),
		devices: map[string]*answering{firstBay: answeringBattery(t, "00 00 00 80"), secondBay: answeringBattery(t, "00 00 00 80")},
	}
}

func readAll(t *testing.T, offers []Offer) map[string]float64 {
	t.Helper()
	got := map[string]float64{}
	for _, o := range offers {
		p, err := o.Open()
		if err != nil {
			t.Fatal(err)
		}
		dst := make([]float64, len(o.Sensors))
		if err := p.Read(0, dst); err != nil {
			t.Error(err)
		}
		for i, s := range o.Sensors {
			got[s.ID+" "+s.Instance] = dst[i]
		}
		if n := testing.AllocsPerRun(50, func() { _ = p.Read(time.Second, dst) }); n != 0 {
			t.Errorf("%s: a read allocates %v times", o.Sensors[0].Source, n)
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	}
	return got
}

func expect(t *testing.T, got map[string]float64, want map[string]float64) {
	t.Helper()
	for k, v := range want {
		if g, ok := got[k]; !ok || !sameNumber(g, v) {
			t.Errorf("%s is %v (there: %v), want %v", k, g, ok, v)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d readings, want %d: %v", len(got), len(want), got)
	}
}

func TestBatteriesThatAnswerAreReadOneByOne(t *testing.T) {
	calls := portable(t)
	c := &windowsPower{calls: calls}
	offers, absences := c.Scan()
	if len(absences) != 0 {
		t.Errorf("absent: %v", absences)
	}
	want := map[string]float64{"supply_online ": 0}
	for _, bay := range []string{"pnp0c0a#1", "pnp0c0a#2"} {
		for id, v := range map[string]float64{run.BatteryPower: 4.83, run.BatteryEnergy: 178020, run.BatteryEnergyFull: 180216, run.BatteryCharge: 178020.0 / 180216,
			run.BatteryDirection: 1, run.BatteryEnergyDesign: 171072, run.BatteryVoltage: 12.229} {
			want[id+" "+bay] = v
		}
	}
	expect(t, readAll(t, offers), want)
	again, _ := c.Scan()
	if len(again) != len(offers) {
		t.Errorf("the second scan offers %d", len(again))
	}
	for _, d := range calls.devices {
		if d.closed != 2 { // by the choice and by the probe
			t.Errorf("closed %d times", d.closed)
		}
	}
}

// A battery that does not count in mWh makes the system's call speak for all, so
// that none is counted twice.
func TestBatteriesThatCannotAnswerAreReadAsOne(t *testing.T) {
	calls := portable(t)
	calls.devices[secondBay] = answeringBattery(t, "00 00 00 c0")
	offers, _ := (&windowsPower{calls: calls}).Scan()
	expect(t, readAll(t, offers), map[string]float64{"supply_online ": 0, run.BatteryPower + " ": 9.66, run.BatteryEnergy + " ": 98900 * 3.6,
		run.BatteryEnergyFull + " ": 100120 * 3.6, run.BatteryCharge + " ": 98900.0 / 100120, run.BatteryDirection + " ": 1})
	// What its call does not know the other one may.
	calls.state = unhex(t, "00 01 00 01 00 00 00 01 ff ff ff ff ff ff ff ff 00 00 00 80 ff ff ff ff 00 00 00 00 00 00 00 00")
	nan := math.NaN()
	expect(t, readAll(t, offers), map[string]float64{"supply_online ": 0, run.BatteryPower + " ": nan, run.BatteryEnergy + " ": nan,
		run.BatteryEnergyFull + " ": nan, run.BatteryCharge + " ": 0.9, run.BatteryDirection + " ": 1})
}

func TestMachineWithoutBattery(t *testing.T) {
	calls := &scriptedCalls{status: unhex(t, "01 80 ff 00 ff ff ff ff ff ff ff ff")}
	offers, absences := (&windowsPower{calls: calls}).Scan()
	if len(absences) != 1 || absences[0].Source != "battery" {
		t.Errorf("absent: %v", absences)
	}
	expect(t, readAll(t, offers), map[string]float64{"supply_online ": 1})
	calls.status = nil
	if offers, absences := (&windowsPower{calls: calls}).Scan(); len(offers) != 0 || len(absences) != 1 || absences[0].Why != errRefused.Error() {
		t.Errorf("a call that fails: %v, %v", offers, absences)
	}
}

// A battery that is pulled is missing without an error; another one in its place
// is met anew.
func TestBatteryIsPulledAndAnotherPutIn(t *testing.T) {
	d := answeringBattery(t, "00 00 00 80")
	p := &controlledBattery{device: d}
	dst := make([]float64, len(batteryFields))
	if err := p.Read(0, dst); err != nil || dst[0] != 4.83 {
		t.Fatalf("%v, %v", dst, err)
	}
	status := d.answers[batteryQueryStatus]
	delete(d.answers, batteryQueryStatus) // as the driver says when the tag is an old one
	first := p.Read(0, dst)
	if !errors.Is(first, errRefused) || !math.IsNaN(dst[0]) {
		t.Errorf("at once: %v, %v", dst, first)
	}
	if again := p.Read(0, dst); again != first {
		t.Errorf("the same failure is another error: %v", again)
	}
	d.answers[batteryQueryTag] = []byte{0, 0, 0, 0}
	p.tag = 0
	if err := p.Read(0, dst); err != nil || !math.IsNaN(dst[1]) {
		t.Errorf("an empty bay: %v, %v", dst, err)
	}
	d.answers[batteryQueryTag], d.answers[batteryQueryStatus] = []byte{2, 0, 0, 0}, status
	binary.LittleEndian.PutUint32(d.answers[batteryQueryInformation][16:], 40000)
	if err := p.Read(0, dst); err != nil || dst[2] != 40000*3.6 {
		t.Errorf("another battery: %v, %v", dst, err)
	}
}

// wide is text as Windows keeps it, in a field of n characters.
func wide(text string, n int) []byte {
	b := make([]byte, 2*n)
	for i, u := range utf16.Encode([]rune(text)) {
		binary.LittleEndian.PutUint16(b[2*i:], u)
	}
	return b
}

func word(size int, v uint64) []byte { return binary.LittleEndian.AppendUint64(nil, v)[:size] }

// The layouts of emi.h, from memory.
func TestEnergyMeter(t *testing.T) {
	name := func(s string) []byte { return slices.Concat(word(2, uint64(2*len(s)+2)), wide(s, len(s)+1)) }
	meter := func(version uint64, description []byte, counts ...uint64) *answering {
		d := &answering{answers: map[uint32][]byte{meterVersion: word(2, version), meterMetadataSize: word(4, uint64(len(description))), meterMetadata: description}}
		var m []byte
		for _, c := range counts {
			m = slices.Concat(m, word(8, c), word(8, 12345))
		}
		d.answers[meterMeasurement] = m
		return d
	}
	maker := slices.Concat(wide("maker", 16), wide("model", 16), word(2, 1))
	two := meter(2, slices.Concat(maker, word(2, 2), word(4, 0), name("X_Package0_PKG"), word(4, 0), name("X_Package0_PP0")), 1e12, 5e11)
	one := meter(1, slices.Concat(word(4, 0), maker, name("rail")), 0)
	calls := &scriptedCalls{devices: map[string]*answering{`\\?\a#two#1#{g}`: two, `\\?\a#one#1#{g}`: one}}
	offers, absences := energyMeters{calls}.Scan()
	if len(offers) != 2 || len(absences) != 0 {
		t.Fatalf("%v, %v", offers, absences)
	}
	nan := math.NaN()
	expect(t, readAll(t, offers[:1]), map[string]float64{"energy_joules rail": 0, "power_watts rail": nan})

	p, err := offers[1].Open()
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	dst := make([]float64, 4)
	if err := p.Read(0, dst); err != nil || dst[0] != 0 {
		t.Errorf("%v, %v", dst, err)
	}
	// A minute at 30 W is 0.5 Wh = 5e11 pWh = 1800 J.
	two.answers[meterMeasurement] = slices.Concat(word(8, 1e12+5e11), word(8, 1), word(8, 5e11+1e11), word(8, 1))
	if err := p.Read(time.Minute, dst); err != nil || !slices.Equal(dst, []float64{1800, 30, 360, 6}) {
		t.Errorf("%v, %v", dst, err)
	}
	var ids []string
	for _, s := range offers[1].Sensors {
		ids = append(ids, s.ID+" "+s.Instance)
	}
	if want := []string{run.PackageEnergy + " x_package0", run.PackagePower + " x_package0", run.CoreEnergy + " x_package0", run.CorePower + " x_package0"}; !slices.Equal(ids, want) {
		t.Errorf("%v, want %v", ids, want)
	}
}

func TestEnergyMeterThatIsNotUnderstood(t *testing.T) {
	for what, d := range map[string]*answering{
		"refused": {},
		"version 3 of the interface is not known": {answers: map[uint32][]byte{meterVersion: word(2, 3), meterMetadataSize: word(4, 4), meterMetadata: word(4, 0)}},
		"ends too early": {answers: map[uint32][]byte{meterVersion: word(2, 2), meterMetadataSize: word(4, 68),
			meterMetadata: slices.Concat(make([]byte, 66), word(2, 9))}},
		"unit 7 of channel": {answers: map[uint32][]byte{meterVersion: word(2, 1), meterMetadataSize: word(4, 74),
			meterMetadata: slices.Concat(word(4, 7), make([]byte, 66), word(2, 2), wide("a", 1))}},
		"is not believed": {answers: map[uint32][]byte{meterVersion: word(2, 2), meterMetadataSize: word(4, 1<<31)}},
	} {
		offers, absences := energyMeters{&scriptedCalls{devices: map[string]*answering{"m": d}}}.Scan()
		if len(offers) != 0 || len(absences) != 1 || !strings.Contains(absences[0].Why, what) {
			t.Errorf("%s: %v, %v", what, offers, absences)
		}
	}
}

// No description, however mangled, is read past its end.
func FuzzMeterDescription(f *testing.F) {
	f.Add(make([]byte, 80))
	f.Add(slices.Concat(make([]byte, 66), word(2, 3), word(4, 0), word(2, 4), wide("ab", 2)))
	f.Fuzz(func(t *testing.T, b []byte) {
		_, _ = decodeMeterV1(b)
		_, _ = decodeMeterV2(b)
	})
}

// 1 pWh is 3.6e-9 J; the arithmetic in whole µJ neither overflows nor falls.
func TestPicowattHours(t *testing.T) {
	for pwh, want := range map[uint64]int64{0: 0, 1e12: 3600e6, 10000: 36, 9999: 35, math.MaxUint64: 66408278665354385} {
		if got := meterMicrojoules(pwh); got != want {
			t.Errorf("%d pWh are %d µJ, want %d", pwh, got, want)
		}
	}
}
