package actuators

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// strictFirmware holds what firmware may insist on: sustained <= slow <= fast after each
// write, within each one's limits and increment.
type strictFirmware struct {
	levels []*level
	now    []float64
	along  bool // the others move when the first is written
}

func (f *strictFirmware) write(w Write) error {
	i := slices.IndexFunc(f.levels, func(l *level) bool { return l.path == w.Path })
	l := f.levels[i]
	v, err := strconv.ParseFloat(w.Text, 64)
	if err != nil {
		return err
	}
	v *= l.scale
	if l.takes(v) != nil {
		return fmt.Errorf("%s does not take %v", l.path, v)
	}
	f.now[i] = v
	if f.along && i == 0 {
		for j := 1; j < len(f.now); j++ {
			f.now[j] = *f.levels[j].most
		}
	}
	if !slices.IsSorted(f.now) {
		return fmt.Errorf("%v after %s=%s: a limit exceeds the next", f.now, w.Path, w.Text)
	}
	return nil
}

// Whatever limits firmware has, states and has set, every value that goes is reached without
// any limit above the next one on the way, without a step upward that is larger than
// allowed, and ends at the value, or as near above it as a limit goes.
func TestLimitsAreSetInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		scale := rapid.SampledFrom([]float64{1, 1e-6}).Draw(t, "scale")
		n := rapid.IntRange(1, 3).Draw(t, "levels")
		f := &strictFirmware{along: rapid.Bool().Draw(t, "along")}
		least, most, now := 0.0, 0.0, 0.0
		for i := range n {
			step := rapid.SampledFrom([]float64{1, 1, 2, 5}).Draw(t, "step")
			least = math.Ceil(max(least, float64(rapid.IntRange(1, 12).Draw(t, "least"))))
			steps := rapid.IntRange(0, 20).Draw(t, "steps")
			l := &level{path: fmt.Sprint("level", i), scale: scale, least: num(least), step: num(step)}
			most = max(most, least+float64(steps)*step)
			l.most = num(most)
			l.now = max(now, l.onGrid(least+float64(rapid.IntRange(0, steps).Draw(t, "now"))*step))
			now = l.now
			l.text = l.format(l.now)
			f.levels = append(f.levels, l)
			f.now = append(f.now, l.now)
		}
		before := slices.Clone(f.now)
		for i := range n {
			if f.levels[i].takes(before[i]) != nil {
				t.Skip("no such firmware")
			}
		}
		within := Limits{Max: num(1000)}
		if rapid.Bool().Draw(t, "in steps") {
			within.StepUp = num(float64(rapid.IntRange(5, 9).Draw(t, "step up")))
		}
		v := *f.levels[0].least + float64(rapid.IntRange(-2, 25).Draw(t, "v"))
		writes, err := setLevels(f.levels, v, within)
		if err != nil {
			t.Skip(err.Error())
		}
		for _, w := range writes {
			i := slices.IndexFunc(f.levels, func(l *level) bool { return l.path == w.Path })
			was := f.now[i]
			if w.Again && SameText(f.levels[i].format(was), w.Text, 0) {
				continue // as Apply does
			}
			if err := f.write(w); err != nil {
				t.Fatalf("%v of %v: %v", w, writes, err)
			}
			if within.StepUp != nil && f.now[i]-was > *within.StepUp+1e-6 {
				t.Fatalf("%v goes up by %v, allowed %v", w, f.now[i]-was, *within.StepUp)
			}
		}
		floor := v
		for i, l := range f.levels {
			if f.now[i] < floor-1e-6 || f.now[i] >= max(floor, *l.least)+*l.step-1e-6 || i == 0 && math.Abs(f.now[0]-v) > 1e-6 {
				t.Fatalf("%v ends at %v, asked for %v", l.path, f.now, v)
			}
			floor = f.now[i]
		}
		if !f.along && len(writes) > 0 && slices.Equal(before, f.now) {
			t.Fatalf("%v changes nothing", writes)
		}
	})
}

// The writes of the made tree, as a person would do them.
func TestFirmwareWrites(t *testing.T) {
	for name, c := range map[string]struct {
		v      Value
		within Limits
		want   []string
	}{
		"lowered from the sustained on, the fast one to what it takes": {watt(9), Limits{}, []string{
			"ppt_pl1_spl/current_value 15>9", "ppt_pl2_sppt/current_value 20>9", "ppt_pl3_fppt/current_value 25>10"}},
		"raised from the fast on, and again where firmware moves others": {watt(28), Limits{}, []string{
			"ppt_pl3_fppt/current_value 25>30", "ppt_pl2_sppt/current_value 20>28", "ppt_pl1_spl/current_value 15>28",
			"ppt_pl2_sppt/current_value 28>28 again", "ppt_pl3_fppt/current_value 30>30 again"}},
		"in steps of at most 5 W": {watt(28), Limits{StepUp: num(5)}, []string{
			"ppt_pl3_fppt/current_value 25>30", "ppt_pl2_sppt/current_value 20>25", "ppt_pl2_sppt/current_value 25>28",
			"ppt_pl1_spl/current_value 15>20", "ppt_pl1_spl/current_value 20>25", "ppt_pl1_spl/current_value 25>28",
			"ppt_pl2_sppt/current_value 28>28 again", "ppt_pl3_fppt/current_value 30>30 again"}},
		"some lowered, one raised": {watt(18), Limits{}, []string{
			"ppt_pl2_sppt/current_value 20>18", "ppt_pl3_fppt/current_value 25>20", "ppt_pl1_spl/current_value 15>18",
			"ppt_pl2_sppt/current_value 18>18 again", "ppt_pl3_fppt/current_value 20>20 again"}},
	} {
		writes, err := NewFirmware(madeTree(t, nil, "class/firmware-attributes/")).Writes(c.v, c.within)
		if got := texts(writes); err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %v\n%s", name, err, cmp.Diff(c.want, got))
		}
	}
}

// What the firmware does not state is not believed, and what is no limit in watts is not
// taken for one.
func TestFirmwareThatIsLeftAlone(t *testing.T) {
	const a = "class/firmware-attributes/firmware/attributes/"
	for name, c := range map[string]struct {
		change map[string]string
		want   string
	}{
		"no maximum":        {map[string]string{a + "ppt_pl1_spl/max_value": ""}, "states no min_value and max_value"},
		"milliwatts":        {map[string]string{a + "ppt_pl1_spl/min_value": "5000", a + "ppt_pl1_spl/max_value": "30000"}, "goes from 5000 to 30000, which cannot be watts"},
		"swapped":           {map[string]string{a + "ppt_pl1_spl/min_value": "30", a + "ppt_pl1_spl/max_value": "5"}, "which cannot be watts"},
		"a text":            {map[string]string{a + "ppt_pl1_spl/type": "string"}, `is of type "string", not integer`},
		"no sustained one":  {map[string]string{a + "ppt_pl1_spl/": ""}, "shows no sustained limit"},
		"minimum is a word": {map[string]string{a + "ppt_pl1_spl/min_value": "low"}, "states no min_value and max_value"},
	} {
		f := NewFirmware(madeTree(t, c.change, "class/firmware-attributes/"))
		if o := f.Offer(); !strings.Contains(o.Missing, c.want) || o.Writable {
			t.Errorf("%s: got %+v", name, o)
		}
		if w, err := f.Writes(watt(10), Limits{}); err == nil || len(w) > 0 {
			t.Errorf("%s: got %v, %v", name, w, err)
		}
	}
	locked := NewFirmware(madeTree(t, map[string]string{"class/firmware-attributes/firmware/authentication/Admin/is_enabled": "1"}, "class/firmware-attributes/")).Offer()
	if locked.Writable || !strings.Contains(locked.Needs, "asks for a password") {
		t.Errorf("with a password: got %+v", locked)
	}
	// The user's most holds for each of the limits.
	f := NewFirmware(madeTree(t, map[string]string{a + "ppt_pl3_fppt/min_value": "25"}, "class/firmware-attributes/"))
	if w, err := f.Writes(watt(12), Limits{Max: num(20)}); err == nil || !strings.Contains(err.Error(), "ppt_pl3_fppt/current_value takes 25 to 40W, and the configuration allows at most 20W") {
		t.Errorf("got %v, %v", w, err)
	}
}

// Cores go off with their siblings, the last first, and come back; what the kernel does not
// tell of those that are offline is remembered.
func TestCoresStayWithTheirSiblings(t *testing.T) {
	root := madeTree(t, nil, "devices/system/cpu/")
	c := NewCores(root)
	host := Host{Sys: root}
	for _, step := range []struct {
		n    string
		want []string
	}{
		{"4", []string{"cpu7/online 1>0", "cpu3/online 1>0", "cpu6/online 1>0", "cpu2/online 1>0"}},
		{"3", []string{"cpu5/online 1>0"}},
		{"6", []string{"cpu5/online 0>1", "cpu2/online 0>1", "cpu6/online 0>1"}},
		{"8", []string{"cpu3/online 0>1", "cpu7/online 0>1"}},
	} {
		writes, err := c.Writes(pair(step.n), Limits{})
		if got := texts(writes); err != nil || !slices.Equal(got, step.want) {
			t.Errorf("%s: %v\n%s", step.n, err, cmp.Diff(step.want, got))
		}
		for _, w := range writes {
			if err := host.Write(t.Context(), w); err != nil {
				t.Fatal(err)
			}
			hideTopology(t, root, w)
		}
	}
	// Another goes offline by hand: one comes online before others go.
	put(t, root, "devices/system/cpu/cpu1/online", "0")
	writes, err := c.Writes(pair("5"), Limits{})
	if got := texts(writes); err != nil || got[0] != "cpu1/online 0>1" {
		t.Errorf("got %v, %v", got, err)
	}
}

// hideTopology does what the kernel does with the topology of a processor that goes
// offline, and comes back.
func hideTopology(t *testing.T, root string, w Write) {
	t.Helper()
	dir := filepath.Dir(w.Path)
	from, to := filepath.Join(dir, "topology"), filepath.Join(dir, "hidden")
	if w.Text == "1" {
		from, to = to, from
	}
	if err := os.Rename(from, to); err != nil {
		t.Fatal(err)
	}
}

// Kernels before 4.3 have a domain's files with its processors
// (Documentation/admin-guide/pm/cpufreq.rst has the newer place), and those of a domain that
// is offline cannot be read, or are empty.
func TestGovernorsOfOtherKernels(t *testing.T) {
	root := madeTree(t, map[string]string{
		"devices/system/cpu/cpufreq/": "", "devices/system/cpu/cpu0/cpufreq/scaling_governor": "powersave", "devices/system/cpu/cpu0/cpufreq/scaling_available_governors": "performance powersave",
	}, "devices/system/cpu/")
	g := NewGovernor(root)
	writes, err := g.Writes(pair("performance"), Limits{})
	if got := texts(writes); err != nil || !slices.Equal(got, []string{"cpufreq/scaling_governor powersave>performance"}) {
		t.Errorf("got %v, %v", got, err)
	}
	if err := (Host{Sys: root}).Write(t.Context(), writes[0]); err != nil || g.Offer().Now != "performance" {
		t.Errorf("%v, %s", err, g.Offer().Now)
	}
	root = madeTree(t, nil, "devices/system/cpu/")
	put(t, root, "devices/system/cpu/cpufreq/policy4/scaling_governor", "")
	if writes, err := NewGovernor(root).Writes(pair("performance"), Limits{}); err != nil || len(writes) != 1 || !strings.Contains(writes[0].Path, "policy0") {
		t.Errorf("with one offline: %v, %v", writes, err)
	}
}

// Packages share the watts and the step, and what a driver states of one is that of all.
func TestPowercapOfTwoPackages(t *testing.T) {
	change := map[string]string{"class/powercap/rapl-mmio:0/": ""}
	for _, file := range []string{"name", "enabled", "constraint_0_name", "constraint_0_power_limit_uw", "constraint_0_max_power_uw"} {
		change["class/powercap/rapl:1/"+file] = strings.ReplaceAll(handheld["class/powercap/rapl:0/"+file], "package-0", "package-1")
	}
	root := madeTree(t, change, "class/powercap/")
	p := NewPowercap(root)
	if o := p.Offer(); o.Now != "30W" || *o.Max != 56 || o.Min != nil || len(o.Sources) != 3 {
		t.Errorf("got %+v", o)
	}
	writes, err := p.Writes(watt(50), Limits{StepUp: num(10)})
	want := []string{"rapl:0/constraint_0_power_limit_uw 15000000>20000000", "rapl:0/constraint_0_power_limit_uw 20000000>25000000", "rapl:0/constraint_1_power_limit_uw 25000000>25000000 again",
		"rapl:1/constraint_0_power_limit_uw 15000000>20000000", "rapl:1/constraint_0_power_limit_uw 20000000>25000000"}
	if got := texts(writes); err != nil || !slices.Equal(got, want) || writes[0].Up != 5e6 {
		t.Errorf("%v\n%s", err, cmp.Diff(want, got))
	}
	if _, err := p.Writes(watt(58), Limits{}); err == nil || !strings.Contains(err.Error(), "up to 28W, not 29W") {
		t.Errorf("got %v", err)
	}
	// Not one microwatt more, whatever is left of a decimal fraction; a constraint without a
	// limit is none.
	one := NewPowercap(madeTree(t, map[string]string{"class/powercap/rapl-mmio:0/": "", "class/powercap/rapl:0/constraint_3_name": "short_term"}, "class/powercap/"))
	for _, w := range []float64{8.1, 9.3, 10.7, 12.1, 13.3, 16.7, 17.9, 20.3} {
		writes, err := one.Writes(watt(w), Limits{})
		if err != nil || len(writes) < 2 {
			t.Errorf("%v: got %v, %v", w, writes, err)
		}
		for _, x := range writes {
			if x.Text != strconv.FormatFloat(w*1e6, 'f', 0, 64) {
				t.Errorf("%v W: %v", w, texts(writes))
			}
		}
	}
	off := NewPowercap(madeTree(t, map[string]string{"class/powercap/rapl-mmio:0/": "", "class/powercap/rapl:0/enabled": "0"}, "class/powercap/")).Offer()
	if !strings.Contains(off.Missing, "is not enabled, so its limits do not hold") {
		t.Errorf("none enabled: %+v", off)
	}
}

// A profile that was set by hand cannot be put back where one place speaks for all drivers.
func TestProfileOfAnOlderKernel(t *testing.T) {
	tree := []string{"firmware/"}
	root := madeTree(t, nil, tree...)
	p := NewProfile(root)
	writes, err := p.Writes(name("performance"), Limits{Choices: []string{"performance"}})
	if got := texts(writes); err != nil || !slices.Equal(got, []string{"acpi/platform_profile balanced>performance"}) {
		t.Errorf("got %v, %v", got, err)
	}
	put(t, root, "firmware/acpi/platform_profile", "custom")
	if o := p.Offer(); o.Writable || o.Now != "custom" || !strings.Contains(o.Needs, "has custom, which it does not take back: choose a profile by hand first") {
		t.Errorf("got %+v", o)
	}
	if w, err := p.Writes(name("performance"), Limits{}); err == nil || len(w) > 0 {
		t.Errorf("got %v, %v", w, err)
	}
	// The newer places take custom back, where their driver says so.
	newer := madeTree(t, map[string]string{"devices/platform/firmware.0/platform-profile/platform-profile-0/profile": "custom", "devices/platform/other.0/": ""}, "devices/platform/", "class/platform-profile/")
	if w, err := NewProfile(newer).Writes(name("performance"), Limits{}); err != nil || len(w) != 1 || w[0].Was != "custom" {
		t.Errorf("got %v, %v", w, err)
	}
	if w, err := NewProfile(newer).Writes(name("custom"), Limits{Choices: []string{"custom"}}); err == nil && len(w) > 0 {
		t.Errorf("custom is set: %v", w)
	}
}
