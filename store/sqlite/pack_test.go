package sqlite

import (
	"encoding/hex"
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"sweepd/run"
)

// anySensor has every kind of resolution: decimal, binary, coarse, none.
func anySensor(t *rapid.T) run.Sensor {
	s := run.Sensor{ID: "x", Resolution: rapid.SampledFrom([]float64{1e-6, 1e-3, 0.01, 1, 1000, 0.125, 1.0 / 3, 0}).Draw(t, "resolution")}
	if rapid.Bool().Draw(t, "counter") {
		s.Kind = run.Counter
	}
	return s
}

// anyValue goes on from the value before, or jumps anywhere.
func anyValue(t *rapid.T, before float64, resolution float64) float64 {
	switch rapid.IntRange(0, 9).Draw(t, "move") {
	case 0:
		return math.NaN()
	case 1:
		return rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 5e-324, -math.MaxFloat64, 1e308, 1e15, -1e15, 1 << 53, 1.0 / 3}).Draw(t, "edge")
	case 2, 3, 4:
		return before
	case 5:
		return rapid.Float64Range(-1e6, 1e6).Draw(t, "jump")
	}
	if math.IsNaN(before) || math.Abs(before) > 1e12 {
		before = 0
	}
	return before + float64(rapid.IntRange(-100, 100).Draw(t, "steps"))*resolution
}

// Whatever is packed comes back: values to their resolution, those that steps
// cannot express exactly, times to the microsecond.
func TestPackRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p packer
		var u unpacker
		var sensors []run.Sensor
		var before []float64
		at := run.Instant{Mono: time.Hour, Boot: 2 * time.Hour, Wall: noon}
		for row := range rapid.IntRange(1, 12).Draw(t, "rows") {
			grew := row == 0
			for range rapid.IntRange(0, 3).Draw(t, "new sensors") {
				sensors = append(sensors, anySensor(t))
				before = append(before, 0)
				grew = true
			}
			p.grow(sensors)
			u.grow(sensors)
			sweeps := make([]run.Sweep, rapid.IntRange(1, 20).Draw(t, "sweeps"))
			labels := make([]int, len(sweeps))
			for i := range sweeps {
				at.Mono += time.Duration(rapid.Int64Range(0, 2e9).Draw(t, "interval"))
				at.Boot += time.Duration(rapid.Int64Range(-1e5, 2e9).Draw(t, "boot"))
				at.Wall = at.Wall.Add(time.Duration(rapid.Int64Range(-4e12, 4e12).Draw(t, "wall")))
				sweeps[i].At = at
				labels[i] = rapid.IntRange(0, 2).Draw(t, "label")
				n := rapid.IntRange(0, len(sensors)).Draw(t, "values")
				for j := range n {
					before[j] = anyValue(t, before[j], sensors[j].Resolution)
					sweeps[i].Values = append(sweeps[i].Values, before[j])
				}
			}
			key := row == 0 || rapid.Bool().Draw(t, "key")
			if err := u.unpack(slices.Clone(p.pack(key, sweeps, labels, grew))); err != nil {
				t.Fatal(err)
			}
			checkUnpacked(t, &u, sensors, sweeps, labels)
		}
	})
}

func checkUnpacked(t *rapid.T, u *unpacker, sensors []run.Sensor, sweeps []run.Sweep, labels []int) {
	if len(u.times) != len(sweeps) || !slices.Equal(u.labels, labels) || u.width != len(sensors) {
		t.Fatalf("%d sweeps of %d values with labels %v, want %d, %d, %v", len(u.times), u.width, u.labels, len(sweeps), len(sensors), labels)
	}
	for i, s := range sweeps {
		got := u.times[i]
		if got.Mono != s.At.Mono.Truncate(time.Microsecond) {
			t.Fatalf("sweep %d at %v, want %v", i, got.Mono, s.At.Mono)
		}
		// The tolerance, and what is left below the microsecond in three clocks.
		const most = offsetTolerance + 3
		boot := (got.Boot - got.Mono) - (s.At.Boot - s.At.Mono)
		wall := got.Wall.Sub(s.At.Wall) - (got.Boot - s.At.Boot)
		if boot.Abs() > most*time.Microsecond || wall.Abs() > most*time.Microsecond {
			t.Fatalf("sweep %d: boot is off by %v, wall by %v", i, boot, wall)
		}
		for j := range sensors {
			checkValue(t, sensors[j], valueAt(s.Values, j), u.values[i*u.width+j])
		}
	}
}

func checkValue(t *rapid.T, s run.Sensor, want, got float64) {
	if math.IsNaN(want) || math.IsNaN(got) {
		if math.IsNaN(want) != math.IsNaN(got) {
			t.Fatalf("%v, want %v", got, want)
		}
		return
	}
	// Half a step, and the rounding of the division.
	if most := s.Resolution/2*(1+1e-9) + math.Abs(want)*0x1p-51; math.Abs(got-want) > most {
		t.Fatalf("%v, want %v within %v", got, want, most)
	}
	if _, whole := scaleOf(s.Resolution).steps(want); !whole && got != want {
		t.Fatalf("%v, want exactly %v", got, want)
	}
}

// A decimal value in steps of a decimal resolution comes back as itself.
func TestDecimalsComeBackExactly(t *testing.T) {
	for _, resolution := range []float64{1e-6, 1e-3, 0.01, 0.1, 1} {
		s := scaleOf(resolution)
		for _, steps := range []int64{1, 3, 7, 12_345_678, 999_999_999_999} {
			want := float64(steps) / math.Round(1/resolution)
			if q, ok := s.steps(want); !ok || q != steps || s.value(q) != want {
				t.Errorf("%v in steps of %v came back as %v", want, resolution, s.value(q))
			}
		}
	}
}

// What does not change costs next to nothing.
func TestConstantRowsAreSmall(t *testing.T) {
	sensors := make([]run.Sensor, 50)
	for i := range sensors {
		sensors[i].Resolution = 1e-6
	}
	var p packer
	p.grow(sensors)
	values := slices.Repeat([]float64{47.11}, 50)
	values[3] = math.NaN()
	for row := range 10 {
		sweeps := []run.Sweep{quarter(4*row, values...), quarter(4*row+1, values...), quarter(4*row+2, values...), quarter(4*row+3, values...)}
		n := len(p.pack(row == 0, sweeps, make([]int, 4), row == 0))
		// flags, count, four times, two bits for each sensor
		if want := 1 + 1 + 4 + 13; row > 1 && n != want {
			t.Errorf("row %d takes %d bytes, want %d", row, n, want)
		}
	}
}

// No bytes make the unpacker panic or hand on more than a row can hold.
func FuzzUnpack(f *testing.F) {
	sensors := make([]run.Sensor, 9)
	for i := range sensors {
		sensors[i].Resolution = float64(i % 3)
		sensors[i].Kind = run.Kind(i % 2)
	}
	var p packer
	p.grow(sensors)
	for row := range 6 {
		v := float64(row)
		f.Add(slices.Clone(p.pack(row == 0, []run.Sweep{quarter(row, v, math.NaN(), 1/v, v*v), quarter(row, v, 1, 2, 3, 4, 1/(v+7))}, []int{0, row}, row == 0)))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var u unpacker
		u.grow(sensors)
		for range 2 { // also as a row that follows
			if u.unpack(data) != nil {
				continue
			}
			if len(u.times) > len(data) || len(u.values) != len(u.times)*u.width || u.width > len(sensors) {
				t.Fatalf("%d sweeps of %d values from %d bytes", len(u.times), u.width, len(data))
			}
		}
	})
}

// A lost row, and a damaged one, take no more than the rows up to the next key
// row with them.
func TestDamageStaysSmall(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	must(t, s.BeginRun(ctx, newRun("run-0001")))
	sensors := []run.Sensor{{ID: run.PackagePower, Unit: "watts", Resolution: 1e-6}}
	const rows = 6 * keyEvery
	for i := range rows {
		must(t, s.Append(ctx, run.Batch{Device: "unit-oak", RunID: "run-0001", Sensors: sensors, Sweeps: []run.Sweep{quarter(i, float64(i))}}))
	}
	_, err := s.write.ExecContext(ctx, `DELETE FROM readings WHERE id & 0xffffffff = ?`, keyEvery+10)
	must(t, err)
	_, err = s.write.ExecContext(ctx, `UPDATE readings SET data = substr(data, 1, 2) WHERE id & 0xffffffff = ?`, 3*keyEvery)
	must(t, err)
	// Not at a key row: what follows would go on from the row before the damaged one.
	_, err = s.write.ExecContext(ctx, `UPDATE readings SET data = substr(data, 1, length(data) - 1) WHERE id & 0xffffffff = ?`, 4*keyEvery+20)
	must(t, err)

	var got []float64
	trace, err := s.Trace(ctx, "run-0001")
	must(t, err)
	must(t, trace.Each(func(x run.Sweep) error {
		got = append(got, x.Values...)
		return nil
	}))
	var want []float64
	for i := range rows {
		if lost := i >= keyEvery+10 && i < 2*keyEvery || i >= 3*keyEvery && i < 4*keyEvery || i >= 4*keyEvery+20 && i < 5*keyEvery; !lost {
			want = append(want, float64(i))
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	// A row that is gone or damaged took nobody knows how many sweeps; those that follow
	// say how many they have.
	lost := []run.Loss{
		{Code: run.DataDamaged, From: quarter(keyEvery+9, 0).At.Wall, To: quarter(2*keyEvery, 0).At.Wall, Sweeps: keyEvery - 11, AtLeast: true},
		{Code: run.DataDamaged, From: quarter(3*keyEvery-1, 0).At.Wall, To: quarter(4*keyEvery, 0).At.Wall, Sweeps: keyEvery - 1, AtLeast: true},
		{Code: run.DataDamaged, From: quarter(4*keyEvery+19, 0).At.Wall, To: quarter(5*keyEvery, 0).At.Wall, Sweeps: keyEvery - 21, AtLeast: true},
	}
	if diff := cmp.Diff(lost, trace.Lost()); diff != "" {
		t.Errorf("lost (-want +got):\n%s", diff)
	}
	must(t, trace.Each(func(run.Sweep) error { return nil }))
	if len(trace.Lost()) != 3 {
		t.Errorf("a second walk: %v", trace.Lost())
	}
}

// The first and the last rows are missed too, where others of the run are left; idle
// rows before the time asked for are not.
func TestDamageAtTheEnds(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	must(t, s.BeginRun(ctx, newRun("run-0001")))
	sensors := []run.Sensor{{ID: run.PackagePower, Unit: "watts", Resolution: 1e-6}}
	const rows = 2 * keyEvery
	for _, id := range []string{"run-0001", ""} {
		for i := range rows {
			must(t, s.Append(ctx, run.Batch{Device: "unit-oak", RunID: id, Sensors: sensors, Sweeps: []run.Sweep{quarter(i, float64(i))}}))
		}
	}
	_, err := s.write.ExecContext(ctx, `DELETE FROM readings WHERE id & 0xffffffff = 0`)
	must(t, err)
	_, err = s.write.ExecContext(ctx, `UPDATE readings SET data = x'' WHERE id & 0xffffffff = ?`, rows-1)
	must(t, err)
	trace, err := s.Trace(ctx, "run-0001")
	must(t, err)
	must(t, trace.Each(func(run.Sweep) error { return nil }))
	lost := []run.Loss{
		{Code: run.DataDamaged, From: quarter(1, 0).At.Wall, To: quarter(keyEvery, 0).At.Wall, Sweeps: keyEvery - 1, AtLeast: true},
		{Code: run.DataDamaged, From: quarter(rows-2, 0).At.Wall, To: quarter(rows-2, 0).At.Wall, AtLeast: true},
	}
	if diff := cmp.Diff(lost, trace.Lost()); diff != "" {
		t.Errorf("lost (-want +got):\n%s", diff)
	}
	idle, err := s.IdleSweeps(ctx, "unit-oak", quarter(rows-4, 0).At.Wall)
	must(t, err)
	n := 0
	must(t, idle.Each(func(run.Sweep) error { n++; return nil }))
	if diff := cmp.Diff(lost[1:], idle.Lost()); diff != "" || n != 3 {
		t.Errorf("%d idle sweeps, lost (-want +got):\n%s", n, diff)
	}
}

// Where what tells of the readings is damaged, they are lost: nobody knows what they say.
func TestSeriesDamaged(t *testing.T) {
	for _, harm := range []string{
		"DELETE FROM series_labels", "DELETE FROM series_sensors", "UPDATE sensors SET resolution = 0.1",
		"UPDATE series_labels SET supply = 'battery'", "DELETE FROM series_checksums", "UPDATE series SET started_ms = started_ms + 1",
	} {
		s := openTest(t)
		must(t, s.BeginRun(t.Context(), newRun("run-0001")))
		must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-0001", Sensors: []run.Sensor{{ID: "x"}}, Sweeps: []run.Sweep{quarter(0, 7)}}))
		execWriter(t, s, harm)
		trace, err := s.Trace(t.Context(), "run-0001")
		if n, _ := sum(t, trace, err); n != 0 || len(trace.Lost()) != 1 || !errors.Is(s.Damage(), ErrDamaged) {
			t.Errorf("%s: %d sweeps, lost %v, damage %v", harm, n, trace.Lost(), s.Damage())
		}
	}
}

// The layout stays as version 1 wrote it, so that files of every version are read: these
// rows, with every mode of a column, were packed by the program that first had it.
func TestPackedRowsStayAsTheyWere(t *testing.T) {
	sensors := []run.Sensor{
		{ID: run.PackageEnergy, Kind: run.Counter, Resolution: 1e-6}, {ID: run.PackagePower, Resolution: 1e-6},
		{ID: run.Temperature, Resolution: 1e-3}, {ID: run.CPUBusy}, {ID: run.FanSpeed, Resolution: 1},
	}
	nan := math.NaN()
	rows := [][][]float64{
		{{100, 9.5, 41, 0.5, 30}, {103.25, 9.75, 41, 0.25, 30}, {106.5, 9.5, 41.5, 0.5, 30}, {110, 10, 41.5, 0.125, 30}},
		{{113, nan, 42, 0.125, 30}, {nan, 10.25, 42, 0.125, 30}, {119, 10.5, 42, 1.0 / 3, 30}, {122.5, 10.5, 42, 1.0 / 3, 30}},
		{{125.5, 10.5, 42, nan, 31}, {128.75, 10.5, 42, nan, 31}, {132, 10.25, 42, 0.5, 30}, {135.25, 10, 42, 0.5, 30}},
	}
	want := []string{
		"07040580909de91aa0c21e00000080c087a08ab0a806000000000000da018084af5fa0dd8c0300a0c21ec0d58709a0c21e9fc21ec0843d05d08005e807010fbfc003806080608040013c",
		"0c040000000000000000000080897a0000000101df00000d809bee0280b6dc05c09fab03000ea0c21ea0c21e0001e807010f000080aad4aad5aad5aa5500",
		"08040000000000000202c601809bee02a0c21e00000c9fc21e9fc21e010c80ead4aad5aad5aa5500050201",
	}
	var p packer
	p.grow(sensors)
	var u unpacker
	u.grow(sensors)
	n := 0
	for i, row := range rows {
		var sweeps []run.Sweep
		for _, values := range row {
			s := quarter(n, values...)
			if n > 6 { // it slept for a second
				s.At.Boot += time.Second
				s.At.Wall = s.At.Wall.Add(time.Second)
			}
			sweeps = append(sweeps, s)
			n++
		}
		if got := hex.EncodeToString(p.pack(i == 0, sweeps, []int{0, 0, i, i}, false)); got != want[i] {
			t.Errorf("row %d is\n%s, want\n%s", i, got, want[i])
		}
		data, err := hex.DecodeString(want[i])
		must(t, err)
		if err := u.unpack(data); err != nil {
			t.Fatalf("row %d: %v", i, err)
		}
		for j, values := range row {
			if got := u.values[j*u.width : (j+1)*u.width]; !cmp.Equal(values, got, cmpopts.EquateNaNs()) {
				t.Errorf("row %d, sweep %d: %v, want %v", i, j, got, values)
			}
			if !u.times[j].Wall.Equal(sweeps[j].At.Wall) || u.times[j].Boot != sweeps[j].At.Boot || u.labels[j] != []int{0, 0, i, i}[j] {
				t.Errorf("row %d, sweep %d: %+v and label %d", i, j, u.times[j], u.labels[j])
			}
		}
	}
}
