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
