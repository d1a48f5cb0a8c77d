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

// Bytes by SYSTEM_BATTERY_STATE (winnt.h).
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

// meterName is a channel's name with its size in bytes, the zero at its end
// included.
func meterName(s string) []byte {
	return slices.Concat(word(2, uint64(2*len(s)+2)), wide(s, len(s)+1))
}

var meterMaker = slices.Concat(wide("maker", 16), wide("model", 16), word(2, 1))

// count is what a channel counted: pWh, and when, in 100 ns.
type count struct{ energy, stamp uint64 }

func measured(counts ...count) (b []byte) {
	for _, c := range counts {
		b = slices.Concat(b, word(8, c.energy), word(8, c.stamp))
	}
	return b
}

// answeringMeter is a meter of version 2 with these channels, all of which counted.
func answeringMeter(names ...string) *answering {
	b := slices.Concat(meterMaker, word(2, uint64(len(names))))
	counts := make([]count, len(names))
	for i, n := range names {
		b = slices.Concat(b, word(4, 0), meterName(n))
		counts[i] = count{1e12, 600_0000000}
	}
	return &answering{answers: map[uint32][]byte{meterVersion: word(2, 2), meterMetadataSize: word(4, uint64(len(b))), meterMetadata: b, meterMeasurement: measured(counts...)}}
}

// second is the meter's time of a second.
const second = 1_0000000

// The layouts of emi.h; TestAgainstWindowsHeaders has a compiler lay them out.
func TestEnergyMeter(t *testing.T) {
	two := answeringMeter("X_Package0_PKG", "X_Package0_PP0")
	description := slices.Concat(word(4, 0), meterMaker, meterName("rail"))
	one := &answering{answers: map[uint32][]byte{meterVersion: word(2, 1), meterMetadataSize: word(4, uint64(len(description))), meterMetadata: description,
		meterMeasurement: measured(count{5, 9})}}
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
	read := func(now time.Duration, counts ...count) []float64 {
		t.Helper()
		two.answers[meterMeasurement] = measured(counts...)
		dst := make([]float64, 4)
		if err := p.Read(now, dst); err != nil {
			t.Error(err)
		}
		return dst
	}
	start := uint64(1e17) // 317 years
	if got := read(0, count{1e12, start}, count{5e11, start}); got[0] != 0 || got[2] != 0 {
		t.Errorf("%v", got)
	}
	// A minute of the meter at 30 W is 0.5 Wh = 5e11 pWh = 1800 J, though we asked
	// after 61.5 s; the other channel was measured half a minute later.
	if got := read(61500*time.Millisecond, count{15e11, start + 60*second}, count{6e11, start + 90*second}); !slices.Equal(got, []float64{1800, 30, 360, 4}) {
		t.Errorf("%v", got)
	}
	// The same count again tells nothing new, for a while.
	if got := read(62*time.Second, count{15e11, start + 60*second}, count{6e11, start + 90*second}); !slices.Equal(got, []float64{1800, 30, 360, 4}) {
		t.Errorf("again: %v", got)
	}
	// No fall of our clock's pace shows: 2 s of the meter at 18 W are 1e10 pWh.
	if got := read(62250*time.Millisecond, count{151e10, start + 62*second}, count{61e10, start + 92*second}); !slices.Equal(got, []float64{1836, 18, 396, 18}) {
		t.Errorf("next: %v", got)
	}
	dst := make([]float64, 4)
	if err := p.Read(73*time.Second, dst); !errors.Is(err, errMeterStands) || !math.IsNaN(dst[0]) || !math.IsNaN(dst[1]) {
		t.Errorf("stands still: %v, %v", dst, err)
	}
	// A meter that begins anew falls to 0, the mark of a reset.
	if got := read(74*time.Second, count{7e11, 5 * second}, count{62e10, start + 93*second}); got[0] != 0 || !math.IsNaN(got[1]) || !slices.Equal(got[2:], []float64{432, 36}) {
		t.Errorf("begun anew: %v", got)
	}
	if got := read(75*time.Second, count{71e10, 6 * second}, count{63e10, start + 94*second}); !slices.Equal(got, []float64{36, 36, 468, 36}) {
		t.Errorf("after it: %v", got)
	}
}

// What a driver's stamps are, whatever they are, no reading is negative or infinite.
func TestStampsOfAnyKind(t *testing.T) {
	var c stampedCount
	for i, stamp := range []uint64{0, math.MaxUint64, 1, 0, 1 << 63, 1<<63 + 1, 1<<63 + second, math.MaxUint64 - 1} {
		joules, watts, _ := c.next(time.Duration(i)*time.Second, uint64(1e12+i*1e9), stamp)
		if joules < 0 || watts < 0 || math.IsInf(joules, 0) || math.IsInf(watts, 0) {
			t.Errorf("stamp %d: %v J, %v W", stamp, joules, watts)
		}
	}
}

// identities are the sensors' ids and instances, of every other one: energies.
func identities(offers []Offer) (list []string) {
	for _, o := range offers {
		for i := 0; i < len(o.Sensors); i += 2 {
			list = append(list, o.Sensors[i].ID+" "+o.Sensors[i].Instance)
		}
	}
	return list
}

func TestNamesOfMeterChannels(t *testing.T) {
	const first, second = `\\?\a#1#0#{g}`, `\\?\a#2#0#{g}`
	for what, c := range map[string]struct {
		meters map[string]*answering
		want   []string
	}{
		"two packages of one meter": {map[string]*answering{first: answeringMeter("X_Package0_PKG", "X_Package0_PP0", "X_Package1_PKG", "X_Package0_PP1", "X_Package0_DRAM")},
			[]string{run.PackageEnergy + " x_package0", run.CoreEnergy + " x_package0", run.PackageEnergy + " x_package1", run.GPUEnergy + " x_package0", run.DRAMEnergy + " x_package0"}},
		"other names of the package": {map[string]*answering{first: answeringMeter("Apu Power", "VDDCR")},
			[]string{run.PackageEnergy + " apu power", run.Energy + " VDDCR"}},
		"several names of it count once": {map[string]*answering{first: answeringMeter("CPU Power", "socket power", "Current Socket Power")},
			[]string{run.Energy + " CPU Power", run.PackageEnergy + " socket power", run.Energy + " Current Socket Power"}},
		"also over meters": {map[string]*answering{first: answeringMeter("CPU Power"), second: answeringMeter("X_Package0_PKG")},
			[]string{run.Energy + " CPU Power", run.PackageEnergy + " x_package0"}},
		"two sockets of one name": {map[string]*answering{first: answeringMeter("Socket Power"), second: answeringMeter("Socket Power")},
			[]string{run.PackageEnergy + " 1#0/socket power", run.PackageEnergy + " 2#0/socket power"}},
		"two channels of one name": {map[string]*answering{first: answeringMeter("rail", "rail")},
			[]string{run.Energy + " 1#0/rail/0", run.Energy + " 1#0/rail/1"}},
		"the display's sum is no channel": {map[string]*answering{first: answeringMeter("_Total", "rail")}, []string{run.Energy + " rail"}},
		"no name":                         {map[string]*answering{first: answeringMeter("")}, []string{run.Energy + " 1#0/0"}},
	} {
		offers, absences := energyMeters{&scriptedCalls{devices: c.meters}}.Scan()
		if got := identities(offers); !slices.Equal(got, c.want) || len(absences) != 0 {
			t.Errorf("%s: %q, absent %v, want %q", what, got, absences, c.want)
		}
	}
	offers, _ := energyMeters{&scriptedCalls{devices: map[string]*answering{first: answeringMeter("Apu Power", "VDDCR")}}}.Scan()
	if got, want := offers[0].Sensors[0].Source, first+`, channel "Apu Power", by its name the whole package`; got != want {
		t.Errorf("the source is %s, want %s", got, want)
	}
	if got, want := offers[0].Sensors[3].Source, first+`, channel "VDDCR"`; got != want {
		t.Errorf("the source is %s, want %s", got, want)
	}
}

// A rail that a machine does not have stays at 0: it is missing, until it counts.
func TestRailThatNeverCounted(t *testing.T) {
	const path = `\\?\a#1#0#{g}`
	d := answeringMeter("X_Package0_PKG", "X_Package0_DRAM", "X_Package1_PKG")
	d.answers[meterMeasurement] = measured(count{5, second}, count{0, second}, count{7, second})
	calls := &scriptedCalls{devices: map[string]*answering{path: d}}
	offers, absences := energyMeters{calls}.Scan()
	if got, want := identities(offers), []string{run.PackageEnergy + " x_package0", run.PackageEnergy + " x_package1"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if len(absences) != 1 || absences[0].Source != path+`, channel "X_Package0_DRAM"` || !strings.Contains(absences[0].Why, "never counted") {
		t.Errorf("absent: %v", absences)
	}
	p, err := offers[0].Open()
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	dst := make([]float64, 4)
	for i := range uint64(2) {
		d.answers[meterMeasurement] = measured(count{1e12 + i*1e10, (1 + i*2) * second}, count{0, second}, count{2e12 + i*2e10, (1 + i*2) * second})
		if err := p.Read(time.Duration(i)*time.Second, dst); err != nil {
			t.Error(err)
		}
	}
	if !slices.Equal(dst, []float64{36, 18, 72, 36}) { // the third channel's, not the second's
		t.Errorf("%v", dst)
	}
	d.answers[meterMeasurement] = measured(count{5, second}, count{1, second}, count{7, second})
	if offers, _ = (energyMeters{calls}).Scan(); len(offers[0].Sensors) != 6 {
		t.Errorf("%q", identities(offers))
	}
}

func TestEnergyMeterThatIsNotUnderstood(t *testing.T) {
	for what, d := range map[string]*answering{
		"refused": {},
		"version 3 of the interface is not known": {answers: map[uint32][]byte{meterVersion: word(2, 3), meterMetadataSize: word(4, 4), meterMetadata: word(4, 0)}},
		"ends too early": {answers: map[uint32][]byte{meterVersion: word(2, 2), meterMetadataSize: word(4, 68),
			meterMetadata: slices.Concat(make([]byte, 66), word(2, 9))}},
		"unit 7 of channel": {answers: map[uint32][]byte{meterVersion: word(2, 1), meterMetadataSize: word(4, 74),
			meterMetadata: slices.Concat(word(4, 7), make([]byte, 66), word(2, 2), wide("a", 1)), meterMeasurement: measured(count{1, 1})}},
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
