package collectors

import (
	"errors"
	"io/fs"
	"os"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The zones of the procfs capture: two packages (the second is zone a, that is
// 10) and the cores of the first. Energies count from the opening. The limit of
// 4090 W is none.
func TestPowercapCaptured(t *testing.T) {
	roots := capture(t, "sys/class/powercap")
	offers, absences := NewPowercap(roots).Scan()
	if len(absences) != 0 {
		t.Errorf("absences %v", absences)
	}
	var names []string
	for _, o := range offers {
		for _, s := range o.Sensors {
			names = append(names, s.ID+" "+s.Instance)
		}
		p := opened(t, o)
		dst := make([]float64, len(o.Sensors))
		if err := p.Read(time.Second, dst); err != nil {
			t.Error(err)
		}
		if len(dst) == 2 {
			wantValues(t, dst, 0, nan)
		} else {
			wantValues(t, dst, nan)
		}
	}
	want := `package_energy_joules package-0
package_power_watts package-0
core_energy_joules package-0/core
core_power_watts package-0/core
package_energy_joules package-10
package_power_watts package-10
power_limit_watts powercap`
	if got := strings.Join(names, "\n"); got != want {
		t.Errorf("sensors:\n%s\nwant:\n%s", got, want)
	}
	counter := opened(t, offers[0]).(*energyCounter)
	dst := make([]float64, 2)
	for i, raw := range []string{"240422366267", "1000000", "32600000"} {
		rewrite(t, offers[0].Sensors[0].Source, raw+"\n")
		if err := counter.Read(time.Duration(i)*time.Second*500, dst); err != nil {
			t.Error(err)
		}
	}
	// powercap.rst: after a decrease the difference is range - previous +
	// current, here 21 721.962583 J; then 31.6 J more.
	wantValue(t, dst[0], 21721.962583+31.6)
	wantValue(t, dst[1], 31.6/500)
}

const capturedRange = 262143328850

func TestEnergyCount(t *testing.T) {
	type step struct {
		at    time.Duration
		raw   int64
		joule float64
		watts float64
	}
	for name, c := range map[string]struct {
		span  int64
		steps []step
	}{
		"rises": {capturedRange, []step{
			{1 * time.Second, 5_000_000, 0, nan}, {2 * time.Second, 20_000_000, 15, 15}, {4 * time.Second, 30_000_000, 25, 5}}},
		"wraps": {capturedRange, []step{
			{0, 240422366267, 0, nan}, {500 * time.Second, 1000000, 21721.962583, 43.443925166}}},
		"a gap as long as the range at 500 W": {capturedRange, []step{
			{0, 0, 0, nan}, {524 * time.Second, 31600000, 31.6, 31.6 / 524},
			{1049 * time.Second, 63200000, 0, nan}, // 525 s: who knows how often it wrapped
			{1050 * time.Second, 94800000, 31.6, 31.6}}},
		"a fall too large for a wrap is a reset": {capturedRange, []step{
			{0, 200_000_000_000, 0, nan}, {time.Second, 1000, 0, nan}, {2 * time.Second, 10_001_000, 10, 10}}},
		"a fall without a range is a reset": {0, []step{
			{0, 5_000_000, 0, nan}, {time.Second, 1000, 0, nan}, {2 * time.Second, 10_001_000, 10, 10}}},
		"without a range no gap is too long": {0, []step{
			{0, 5_000_000, 0, nan}, {time.Hour, 3605_000_000, 3600, 1}}},
		"a count above the range": {1000, []step{
			{0, 5_000_000, 0, nan}, {time.Microsecond, 0, 0, nan}}},
		"too soon for a new mean": {capturedRange, []step{
			{0, 0, 0, nan}, {9 * time.Millisecond, 90_000, 0.09, nan}, {100 * time.Millisecond, 2_000_000, 2, 20},
			{109 * time.Millisecond, 2_900_000, 2.9, 20}, {109 * time.Millisecond, 2_900_000, 2.9, 20},
			{200 * time.Millisecond, 3_000_000, 3, 10}}},
		"refreshed late": {capturedRange, []step{ // once a second, read after 0.1 s more
			{0, 262143_000_000, 0, nan}, {100 * time.Millisecond, 60_000_000, 60.32885, 603.2885}}},
	} {
		t.Run(name, func(t *testing.T) {
			count := energyCount{span: c.span}
			for _, s := range c.steps {
				joules, watts, _ := count.next(s.at, s.raw)
				wantValue(t, joules, s.joule)
				wantValue(t, watts, s.watts)
			}
		})
	}
}

// A counter that leaps says so. Of the leap only the energy tells, not the power, and
// afterwards both go on as before: 0.25 s at 22 W are 5.5 J.
func TestEnergyCountThatLeaps(t *testing.T) {
	const quarter = 250 * time.Millisecond
	for name, c := range map[string]struct {
		leap, joules float64
		says         string
	}{
		"forward by 50 kJ":             {50_000, 50_005.5, "leapt from 200000000000 to 250005500000 µJ within 0.25 s: beyond the 500 W"},
		"by more than 500 W in 0.35 s": {169.6, 175.1, "leapt"},
		"by no more":                   {169.4, 174.9, ""},
		"back by 50 kJ":                {-50_000, 0, "fell from 200000000000 to 150005500000 µJ"},
		"back to 0":                    {-200_000, 0, "fell"},
	} {
		t.Run(name, func(t *testing.T) {
			count := energyCount{span: capturedRange}
			raw := int64(199_994_500_000)
			count.next(0, raw)
			raw += 5_500_000
			joules, watts, err := count.next(quarter, raw)
			wantValue(t, joules, 5.5)
			wantValue(t, watts, 22)
			if err != nil {
				t.Fatal(err)
			}
			raw += 5_500_000 + int64(c.leap*1e6)
			after, watts, err := count.next(2*quarter, raw)
			if c.says == "" {
				if wantValue(t, after, 5.5+c.joules); err != nil {
					t.Error(err)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("error %v, want %q in it", err, c.says)
			}
			if c.joules > 0 {
				c.joules += 5.5
			}
			wantValue(t, after, c.joules)
			wantValue(t, watts, nan)
			joules, watts, err = count.next(3*quarter, raw+5_500_000)
			wantValue(t, joules, after+5.5)
			if wantValue(t, watts, 22); err != nil {
				t.Error(err)
			}
		})
	}
}

// One that refreshes every 10 s is late with 10 s of what it counts, not leaping.
func TestEnergyCountThatIsLate(t *testing.T) {
	count := energyCount{span: capturedRange}
	raw := int64(0)
	for i := range 400 {
		if i%40 == 0 {
			raw += 400 * 10_000_000
		}
		if _, _, err := count.next(time.Duration(i)*250*time.Millisecond, raw); err != nil {
			t.Fatalf("%d: %v", i, err)
		}
	}
}

// Against a plain sum: whatever flows, at up to 500 W and with readings at most
// every 100 s, a wrapping counter gives the energy that flowed.
func TestEnergyCountAgainstASum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		span := rapid.Int64Range(65_000_000_000, 300_000_000_000).Draw(t, "range, µJ")
		raw := rapid.Int64Range(0, span-1).Draw(t, "first, µJ")
		count := energyCount{span: span}
		now, sum := time.Duration(0), int64(0)
		count.next(now, raw)
		for range rapid.IntRange(1, 50).Draw(t, "readings") {
			dt := rapid.Int64Range(1, 100_000).Draw(t, "ms")
			flow := rapid.Int64Range(0, 500*dt*1000).Draw(t, "flow, µJ")
			now += time.Duration(dt) * time.Millisecond
			raw = (raw + flow) % span
			sum += flow
			joules, watts, err := count.next(now, raw)
			if want := float64(sum) / 1e6; joules != want || err != nil {
				t.Fatalf("%v J, %v J flowed; %v", joules, want, err)
			}
			if watts > 500.000001 || watts < 0 {
				t.Fatalf("%v W, at most 500 flowed", watts)
			}
		}
	})
}

func zone(folder, name string, more ...string) map[string]string {
	files := map[string]string{"name": name + "\n", "enabled": "1\n", "energy_uj": "1000000\n", "max_energy_range_uj": "262143328850\n"}
	for i := 0; i < len(more); i += 2 {
		files[more[i]] = more[i+1] + "\n"
	}
	return with("sys/class/powercap/"+folder+"/", files)
}

func longTerm(watts string) []string {
	return []string{"constraint_1_name", "long_term", "constraint_1_power_limit_uw", watts, "constraint_0_name", "short_term", "constraint_0_power_limit_uw", "99000000"}
}

// merged puts trees together.
func merged(trees ...map[string]string) map[string]string {
	all := map[string]string{}
	for _, tree := range trees {
		for path, content := range tree {
			all[path] = content
		}
	}
	return all
}

// All domains, each once although a second control type shows the package
// again; and what is not a domain is left out.
func TestPowercapDomains(t *testing.T) {
	roots := madeTree(t, merged(
		map[string]string{"sys/class/powercap/sim-power/enabled": "1\n"},
		zone("sim-power:0", "package-0"), zone("sim-power:0:0", "core"), zone("sim-power:0:1", "uncore"), zone("sim-power:0:2", "dram"),
		zone("sim-power:1", "psys"), zone("sim-power-mapped:0", "package-0"), zone("other:0", "soc"),
	))
	got := readings(t, NewPowercap(roots))
	for _, key := range []string{
		"package_energy_joules package-0", "core_energy_joules package-0/core", "uncore_energy_joules package-0/uncore",
		"dram_energy_joules package-0/dram", "platform_energy_joules psys",
	} {
		if r, ok := got[key]; !ok || r.value != 0 || r.err != nil {
			t.Errorf("%s: %+v, found %v", key, r, ok)
		}
	}
	if len(got) != 10 {
		t.Errorf("%d sensors, want an energy and a power for 5 domains: %v", len(got), got)
	}
	if source := got["package_energy_joules package-0"].sensor.Source; !strings.Contains(source, "sim-power:0/") {
		t.Errorf("source %s is the variant's", source)
	}
}

func TestPowercapLimit(t *testing.T) {
	for name, c := range map[string]struct {
		files map[string]string
		want  float64
	}{
		"one package":            {zone("p:0", "package-0", longTerm("15000000")...), 15},
		"two packages":           {merged(zone("p:0", "package-0", longTerm("15000000")...), zone("p:a", "package-10", longTerm("20000000")...)), 35},
		"two control types":      {merged(zone("p:0", "package-0", longTerm("15000000")...), zone("q:0", "package-0", longTerm("12000000")...)), 12},
		"one of two is no limit": {merged(zone("p:0", "package-0", longTerm("15000000")...), zone("q:0", "package-0", longTerm("4090000000")...)), 15},
		"no limit":               {zone("p:0", "package-0", longTerm("4090000000")...), nan},
		"zero":                   {zone("p:0", "package-0", longTerm("0")...), nan},
		"disabled":               {zone("p:0", "package-0", append(longTerm("15000000"), "enabled", "0")...), nan},
		"one package unlimited":  {merged(zone("p:0", "package-0", longTerm("15000000")...), zone("p:1", "package-1", longTerm("4090000000")...)), nan},
		"of a part only":         {merged(zone("p:0", "package-0", longTerm("15000000")...), zone("p:0:0", "core", longTerm("1000000")...), zone("p:1", "psys", longTerm("2000000")...)), 15},
	} {
		t.Run(name, func(t *testing.T) {
			r := readings(t, NewPowercap(madeTree(t, c.files)))["power_limit_watts powercap"]
			if r.err != nil || r.sensor.ID == "" {
				t.Errorf("error %v, sensor %v", r.err, r.sensor)
			}
			wantValue(t, r.value, c.want)
		})
	}
}

// The counters are for root only. Without the right to read them the sensors
// are an absence that says what to do; this needs another user to be tried.
func TestPowercapForbidden(t *testing.T) {
	roots := madeTree(t, zone("p:0", "package-0"))
	path := roots.sys("class", "powercap", "p:0", "energy_uj")
	if err := os.Chmod(path, 0); err != nil {
		t.Fatal(err)
	}
	asNobody(t, roots, func() {
		s := NewSet(SetOptions{}, NewPowercap(roots))
		defer s.Close()
		var found bool
		for _, a := range s.Absences() {
			if a.Source == path {
				found = true
				if a.Why != "permission denied" || !strings.Contains(a.Remedy, "CAP_DAC_READ_SEARCH") || !strings.Contains(a.Remedy, "udev") {
					t.Errorf("absence %+v", a)
				}
			}
		}
		if !found {
			t.Errorf("absences %v, want one for %s", s.Absences(), path)
		}
		offers, _ := NewPowercap(roots).Scan()
		if _, err := offers[0].Open(); !errors.Is(err, fs.ErrPermission) {
			t.Errorf("open: %v, want permission denied", err)
		}
	})
}
