package actuators

import (
	"context"
	"errors"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// faulty is a made tree's machine with what real kernels do.
type faulty struct {
	Host
	mu sync.Mutex
	// write is called before each write, and what it returns goes before the write: an
	// error, or done where the write is over.
	write func(ctx context.Context, w Write, text string) (done bool, err error)
	read  func(w Write) (string, bool)
	wrote []string
}

func (f *faulty) put(ctx context.Context, w Write, text string, do func() error) error {
	f.mu.Lock()
	write := f.write
	f.wrote = append(f.wrote, filepath.Base(filepath.Dir(w.Path))+"/"+filepath.Base(w.Path)+"="+text)
	f.mu.Unlock()
	if write != nil {
		if done, err := write(ctx, w, text); done || err != nil {
			return err
		}
	}
	return do()
}

func (f *faulty) Write(ctx context.Context, w Write) error {
	return f.put(ctx, w, w.Text, func() error { return f.Host.Write(ctx, w) })
}

func (f *faulty) PutBack(ctx context.Context, w Write) error {
	return f.put(ctx, w, w.Was, func() error { return f.Host.PutBack(ctx, w) })
}

func (f *faulty) Read(ctx context.Context, w Write) (string, error) {
	f.mu.Lock()
	read := f.read
	f.mu.Unlock()
	if read != nil {
		if text, ok := read(w); ok {
			return text, nil
		}
	}
	return f.Host.Read(ctx, w)
}

func (f *faulty) fault(write func(ctx context.Context, w Write, text string) (bool, error)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.write = write
}

// everything is a configuration that allows all of the made tree.
var everything = map[string]Limits{
	"firmware": {Min: num(5), Max: num(30), StepUp: num(10)}, "powercap": {Min: num(5), Max: num(28)}, "gpu": {Min: num(5), Max: num(30)},
	"profile": {Choices: []string{"low-power", "balanced", "performance"}}, "cores": {Min: num(2)},
	"governor": {Choices: []string{"performance", "powersave"}}, "energy_preference": {Choices: []string{"power", "balance_performance"}},
}

type testPanel struct {
	*Panel
	root    string
	machine *faulty
	first   *FirstValues
}

func newTestPanel(t testing.TB, allowed ...string) *testPanel {
	t.Helper()
	root := madeTree(t, nil)
	first, err := OpenFirstValues(t.TempDir(), FirstValuesOptions{Root: root})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = first.Close() })
	limits := maps.Clone(everything)
	maps.DeleteFunc(limits, func(name string, _ Limits) bool { return !slices.Contains(allowed, name) })
	p := &testPanel{root: root, machine: &faulty{Host: Host{Sys: root}}, first: first}
	p.Panel = NewPanel(PanelOptions{Actuators: all(root), Machine: p.machine, FirstValues: first, Allowed: limits})
	return p
}

func (p *testPanel) set(t testing.TB, key string, v Value) {
	t.Helper()
	writes, err := p.Steps(key, v)
	if err != nil {
		t.Fatalf("%s: %v", v, err)
	}
	for _, w := range writes {
		if err := p.Apply(t.Context(), w); err != nil {
			t.Fatalf("%s: %v", v, err)
		}
	}
}

func (p *testPanel) now(t testing.TB, actuator string) string {
	t.Helper()
	for _, o := range p.Offers() {
		if o.Actuator == actuator {
			return o.Now
		}
	}
	t.Fatal(actuator)
	return ""
}

func texts0(root string) map[string]string {
	seen := map[string]string{}
	for path := range handheld {
		text, _ := os.ReadFile(filepath.Join(root, path))
		seen[path] = strings.TrimSpace(string(text))
	}
	return seen
}

// A value is set everywhere that the user allows, and after a restore nothing is left
// changed.
func TestPanelSetsAndPutsBack(t *testing.T) {
	p := newTestPanel(t, "firmware", "powercap", "cores", "governor", "energy_preference")
	before := texts0(p.root)
	for _, key := range []string{SetsSetting, SetsCores, SetsGovernor, SetsEnergyPreference} {
		if !p.Sets(key) {
			t.Errorf("%s cannot be set", key)
		}
	}
	if p.Sets("fan") {
		t.Error("a fan can be set")
	}
	p.set(t, SetsSetting, watt(20))
	p.set(t, SetsCores, pair("3"))
	p.set(t, SetsGovernor, pair("performance"))
	for name, want := range map[string]string{"firmware": "20W", "powercap": "20W", "gpu": "15W", "cores": "3", "governor": "performance", "profile": "balanced"} {
		if got := p.now(t, name); got != want {
			t.Errorf("%s is %s, want %s", name, got, want)
		}
	}
	if w, err := p.Steps(SetsSetting, watt(20)); err != nil || len(w) > 0 {
		t.Errorf("set already: got %v, %v", w, err)
	}
	if list := p.NotInForce(t.Context()); len(list) > 0 {
		t.Errorf("not in force: %v", list)
	}
	if got := len(p.Changed()); got != 2+2+5+2 { // limits and constraints that had not 20 W yet, processors, domains
		t.Errorf("%d places changed: %v", got, texts(p.Changed()))
	}
	// A cell without cores: what was found, the rest as it is.
	p.set(t, SetsCores, Value{})
	if p.now(t, "cores") != "8" || p.now(t, "firmware") != "20W" {
		t.Errorf("cores %s, firmware %s", p.now(t, "cores"), p.now(t, "firmware"))
	}
	if slices.ContainsFunc(p.Changed(), func(w Write) bool { return w.Actuator == "cores" }) {
		t.Errorf("cores are called changed: %v", p.Changed())
	}
	// A limit reverts by itself.
	put(t, p.root, "class/firmware-attributes/firmware/attributes/ppt_pl1_spl/current_value", "12")
	if list := p.NotInForce(t.Context()); len(list) != 1 || list[0].Text != "20" || list[0].Was != "12" {
		t.Errorf("not in force: %v", list)
	}
	p.machine.wrote = nil
	if err := p.Restore(t.Context()); err != nil {
		t.Fatal(err)
	}
	if after := texts0(p.root); !cmp.Equal(before, after) {
		t.Errorf("left changed: %s", cmp.Diff(before, after))
	}
	for _, wrote := range p.machine.wrote { // kept along, and as they were
		if strings.Contains(wrote, "profile") || strings.Contains(wrote, "power1_cap") {
			t.Errorf("put back what nobody changed: %s", wrote)
		}
	}
	if len(p.Changed()) > 0 || len(p.first.Pending()) > 0 || len(p.NotInForce(t.Context())) > 0 {
		t.Errorf("after the restore: %v, %v", p.Changed(), p.NotInForce(t.Context()))
	}
	if err := p.Restore(t.Context()); err != nil { // twice
		t.Error(err)
	}
}

// Watts and names are set by different actuators: what one set is put back before the other
// sets, and what a machine changes along comes back.
func TestPanelGoesFromNamesToWatts(t *testing.T) {
	p := newTestPanel(t, "firmware", "profile")
	before := texts0(p.root)
	const limit, other = "ppt_pl1_spl/current_value", "platform-profile-1/profile"
	// This firmware has a profile of its own for limits that somebody sets, and sets the
	// limits with the profile.
	p.machine.fault(func(_ context.Context, w Write, text string) (bool, error) {
		switch w.Actuator {
		case "firmware":
			put(t, p.root, "devices/platform/firmware.0/platform-profile/platform-profile-0/profile", "custom")
		case "profile":
			put(t, p.root, "class/firmware-attributes/firmware/attributes/"+limit, map[string]string{"low-power": "8", "balanced": "15", "performance": "25"}[text])
		}
		return false, nil
	})
	p.set(t, SetsSetting, name("performance"))
	if p.now(t, "profile") != "performance" || p.now(t, "firmware") != "25W" {
		t.Errorf("profile %s, firmware %s", p.now(t, "profile"), p.now(t, "firmware"))
	}
	writes, err := p.Steps(SetsSetting, watt(9))
	if got := texts(writes); err != nil || len(got) < 4 || !strings.HasSuffix(got[0], "performance>balanced") || got[1] != other+" performance>balanced" {
		t.Errorf("from a name to watts: %v, %v", got, err)
	}
	for _, w := range writes {
		if err := p.Apply(t.Context(), w); err != nil {
			t.Fatal(err)
		}
	}
	if p.now(t, "firmware") != "9W" || len(p.NotInForce(t.Context())) > 0 {
		t.Errorf("firmware %s, not in force: %v", p.now(t, "firmware"), p.NotInForce(t.Context()))
	}
	if w, err := p.Steps(SetsSetting, watt(9)); err != nil || len(w) > 0 {
		t.Errorf("set already: got %v, %v", texts(w), err)
	}
	if err := p.Restore(t.Context()); err != nil {
		t.Fatal(err)
	}
	if after := texts0(p.root); !cmp.Equal(before, after) {
		t.Errorf("left changed: %s", cmp.Diff(before, after))
	}
}

// A processor that comes back online has the governor that the kernel gives it anew: what
// was found comes back with it.
func TestPanelPutsBackTheGovernorOfAProcessor(t *testing.T) {
	p := newTestPanel(t, "cores")
	before := texts0(p.root)
	p.machine.fault(func(_ context.Context, w Write, text string) (bool, error) {
		if w.Actuator == "cores" && text == "1" {
			put(t, p.root, "devices/system/cpu/cpufreq/policy4/scaling_governor", "schedutil")
			put(t, p.root, "devices/system/cpu/cpufreq/policy4/energy_performance_preference", "performance")
		}
		return false, nil
	})
	p.set(t, SetsCores, pair("3"))
	if err := p.Restore(t.Context()); err != nil {
		t.Fatal(err)
	}
	if after := texts0(p.root); !cmp.Equal(before, after) {
		t.Errorf("left changed: %s", cmp.Diff(before, after))
	}
}

// What would be needed is said for each thing in a sentence that can be followed.
func TestPanelSaysWhatIsNeeded(t *testing.T) {
	p := newTestPanel(t, "firmware", "cores", "gpu")
	put(t, p.root, "class/firmware-attributes/firmware/authentication/Admin/is_enabled", "1")
	if err := os.RemoveAll(filepath.Join(p.root, "devices/pci0000:00")); err != nil {
		t.Fatal(err)
	}
	want := map[string]string{
		"firmware":          "the firmware asks for a password (",
		"powercap":          "name it in the configuration, with limits of your own, such as hands_off: {actuators: {powercap: {min: 8, max: 15}}}",
		"gpu":               "the configuration names it, and this machine does not have it: take it out of hands_off",
		"profile":           "name it in the configuration, with limits of your own, such as hands_off: {actuators: {profile: {choices: [low-power, balanced, performance]}}}",
		"cores":             "",
		"governor":          "such as hands_off: {actuators: {governor: {choices: [performance, powersave]}}}",
		"energy_preference": "such as hands_off: {actuators: {energy_preference: {choices: [performance, balance_performance, power]}}}",
	}
	for _, o := range p.Offers() {
		if !strings.Contains(o.Needs, want[o.Actuator]) || want[o.Actuator] == "" && o.Needs != "" {
			t.Errorf("%s: %q\nwant %q", o.Actuator, o.Needs, want[o.Actuator])
		}
	}
	p.options.Allowed = nil
	for _, o := range p.Offers() {
		switch {
		case o.Actuator == "cores" && !strings.HasSuffix(o.Needs, "{actuators: {cores: {min: 2}}}"),
			o.Actuator == "firmware" && (!strings.HasPrefix(o.Needs, "name it in the configuration") || !strings.Contains(o.Needs, "; the firmware asks for a password")),
			o.Allowed != nil:
			t.Errorf("%s: %+v", o.Actuator, o)
		}
	}
}

// What may not be set is not, and the reason says what to do.
func TestPanelRefuses(t *testing.T) {
	p := newTestPanel(t, "firmware", "cores")
	for want, try := range map[string]func() error{
		"nothing that the configuration allows sets variant fan":               func() error { _, err := p.Steps("fan", pair("3")); return err },
		"nothing that the configuration allows sets variant governor":          func() error { _, err := p.Steps(SetsGovernor, pair("performance")); return err },
		"quiet is a name, and the configuration allows nothing that takes one": func() error { _, err := p.Steps(SetsSetting, name("quiet")); return err },
		"firmware: ": func() error { _, err := p.Steps(SetsSetting, watt(31)); return err },
		"cores: 1 is below the least that the configuration allows, 2":       func() error { _, err := p.Steps(SetsCores, pair("1")); return err },
		"six is a name, and the configuration allows nothing that takes one": func() error { _, err := p.Steps(SetsCores, pair("six")); return err },
		"is not set: the configuration does not allow powercap": func() error {
			return p.Apply(t.Context(), Write{Actuator: "powercap", Path: filepath.Join(p.root, "class/powercap/rapl:0/constraint_0_power_limit_uw"), Text: "9000000"})
		},
		"is nothing that sweepd sets": func() error {
			return p.Apply(t.Context(), Write{Actuator: "firmware", Path: filepath.Join(p.root, "class/firmware-attributes/firmware/attributes/boot_logo/current_value"), Text: "off"})
		},
	} {
		if err := try(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v\nwant %q", err, want)
		}
	}
	if len(p.machine.wrote) > 0 || len(p.first.Pending()) > 0 {
		t.Errorf("wrote %v, keeps %v", p.machine.wrote, p.first.Pending())
	}
	// The configuration names what this machine does not have.
	if err := os.RemoveAll(filepath.Join(p.root, "class/firmware-attributes")); err != nil {
		t.Fatal(err)
	}
	if _, err := p.Steps(SetsSetting, watt(10)); err == nil || !strings.Contains(err.Error(), "firmware, which the configuration names, cannot be set: the firmware shows no power limit") || p.Sets(SetsSetting) {
		t.Errorf("got %v, sets %v", err, p.Sets(SetsSetting))
	}
}

// Each fault of a real kernel (errno of write(2), and values that do not stay) is told with
// its place, leaves nothing that a restore does not put back, and takes bounded time.
func TestPanelFaults(t *testing.T) {
	const first = "ppt_pl1_spl"
	for name, c := range map[string]struct {
		fault func(f *faulty, n int) error // before the nth write
		reads string                       // what the place reads whatever was written
		want  string                       // "": none
		is    error
		tries int
	}{
		"busy twice":      {fault: func(_ *faulty, n int) error { return errorUpTo(n, 2, syscall.EBUSY) }, tries: 3},
		"busy for good":   {fault: func(*faulty, int) error { return syscall.EBUSY }, want: `is not set to "9": tried 6 times: `, is: syscall.EBUSY, tries: 6},
		"interrupted":     {fault: func(_ *faulty, n int) error { return errorUpTo(n, 1, syscall.EINTR) }, tries: 2},
		"refused":         {fault: func(*faulty, int) error { return syscall.EINVAL }, want: `is not set to "9": `, is: syscall.EINVAL, tries: 1},
		"not permitted":   {fault: func(*faulty, int) error { return syscall.EACCES }, want: `is not set to "9": `, is: os.ErrPermission, tries: 1},
		"device gone":     {fault: func(*faulty, int) error { return syscall.ENODEV }, want: `is not set to "9": `, is: syscall.ENODEV, tries: 1},
		"taken, unheeded": {reads: "15", want: `was set to "9" and reads "15": it was not obeyed`, tries: 1},
		"clamped":         {reads: "10", want: `was set to "9" and reads "10": it was not obeyed`, tries: 1},
	} {
		in := func(t *testing.T) {
			p := newTestPanel(t, "firmware")
			before := texts0(p.root)
			writes, err := p.Steps(SetsSetting, watt(9))
			if err != nil {
				t.Fatal(err)
			}
			n := 0
			p.machine.fault(func(_ context.Context, w Write, text string) (bool, error) {
				if !strings.Contains(w.Path, first) || text != "9" {
					return false, nil
				}
				n++
				if c.fault != nil {
					return false, c.fault(p.machine, n)
				}
				put(t, p.root, strings.TrimPrefix(w.Path, p.root+"/"), c.reads)
				return true, nil
			})
			err = p.Apply(t.Context(), writes[0])
			var disobeyed *NotObeyedError
			switch {
			case c.want == "" && err != nil, c.want != "" && (err == nil || !strings.Contains(err.Error(), first+"/current_value "+c.want)):
				t.Errorf("got %v\nwant %q", err, c.want)
			case c.is != nil && !errors.Is(err, c.is):
				t.Errorf("%v is not %v", err, c.is)
			case (c.reads != "") != errors.As(err, &disobeyed):
				t.Errorf("%T", err)
			case n != c.tries:
				t.Errorf("tried %d times, want %d", n, c.tries)
			}
			if list := p.NotInForce(t.Context()); len(list) > 0 {
				t.Errorf("what was never set is not in force: %v", list)
			}
			if err := p.Restore(t.Context()); err != nil {
				t.Error(err)
			}
			if after := texts0(p.root); !cmp.Equal(before, after) {
				t.Errorf("left changed: %s", cmp.Diff(before, after))
			}
		}
		t.Run(name, func(t *testing.T) { synctest.Test(t, in) }) // waits take no time
	}
}

func errorUpTo(n, last int, err error) error {
	if n <= last {
		return err
	}
	return nil
}

// A limit that went back by itself since the steps were made is not raised by more than the
// configuration allows, in whatever unit its file is.
func TestPanelTakesNoStepThatIsTooLarge(t *testing.T) {
	for actuator, place := range map[string]string{
		"firmware": "class/firmware-attributes/firmware/attributes/ppt_pl1_spl/current_value",
		"powercap": "class/powercap/rapl:0/constraint_0_power_limit_uw",
	} {
		p := newTestPanel(t, actuator)
		limits := p.options.Allowed[actuator]
		limits.StepUp = num(8)
		p.options.Allowed[actuator] = limits
		writes, err := p.Steps(SetsSetting, watt(28))
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(writes, func(w Write) bool { return w.Path == filepath.Join(p.root, place) })
		for _, w := range writes[:i+1] {
			if err := p.Apply(t.Context(), w); err != nil {
				t.Fatal(err)
			}
		}
		put(t, p.root, place, map[string]string{"firmware": "8", "powercap": "8000000"}[actuator])
		err = p.Apply(t.Context(), writes[i+1])
		if err == nil || !strings.Contains(err.Error(), "a larger step upward than step_up of the configuration allows") {
			t.Errorf("%s: got %v", actuator, err)
		}
		p.set(t, SetsSetting, watt(28)) // anew, from where it is
		if got := p.now(t, actuator); got != "28W" {
			t.Errorf("%s is %s", actuator, got)
		}
		p.set(t, SetsSetting, watt(5))
		p.set(t, SetsSetting, Value{}) // in one step: the device had it
		if got := p.now(t, actuator); got != "15W" || len(p.Changed()) > 0 {
			t.Errorf("%s is %s, changed %v", actuator, got, p.Changed())
		}
	}
}

// What firmware comes to state after the steps were made, as after a replug, holds for their
// writes, too; a first value goes back all the same.
func TestPanelKeepsToWhatIsStatedNow(t *testing.T) {
	for actuator, c := range map[string]struct{ place, limit, text, stated, want string }{
		"firmware": {"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/current_value", "class/firmware-attributes/firmware/attributes/ppt_pl1_spl/max_value", "20", "12", "takes 5 to 12W, not 20W"},
		"powercap": {"class/powercap/rapl:0/constraint_0_power_limit_uw", "class/powercap/rapl:0/constraint_0_max_power_uw", "20000000", "12000000", "takes up to 12W, not 20W"},
		"gpu":      {"devices/pci0000:00/0000:04:00.0/hwmon/hwmon5/power1_cap", "devices/pci0000:00/0000:04:00.0/hwmon/hwmon5/power1_cap_max", "20000000", "12000000", "takes 4 to 12W, not 20W"},
	} {
		p := newTestPanel(t, actuator)
		before := texts0(p.root)
		writes, err := p.Steps(SetsSetting, watt(20))
		if err != nil {
			t.Fatal(err)
		}
		p.set(t, SetsSetting, watt(10))
		put(t, p.root, c.limit, c.stated)
		i := slices.IndexFunc(writes, func(w Write) bool { return w.Path == filepath.Join(p.root, c.place) && w.Text == c.text })
		if err := p.Apply(t.Context(), writes[i]); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant %q", actuator, err, c.want)
		}
		p.set(t, SetsSetting, Value{})
		put(t, p.root, c.limit, before[c.limit])
		if after := texts0(p.root); !cmp.Equal(before, after) {
			t.Errorf("left changed: %s", cmp.Diff(before, after))
		}
	}
}

// The first value is on the disk, for whoever reads the file, before the place is written to.
func TestPanelKeepsBeforeItWrites(t *testing.T) {
	p := newTestPanel(t, "firmware")
	writes, err := p.Steps(SetsSetting, watt(9))
	if err != nil {
		t.Fatal(err)
	}
	looked := 0
	p.machine.fault(func(_ context.Context, w Write, _ string) (bool, error) {
		looked++
		dir, _ := filepath.Split(p.first.Path())
		other, err := OpenFirstValues(dir, FirstValuesOptions{Root: p.root})
		if err != nil {
			t.Error(err)
			return false, nil
		}
		if i := slices.IndexFunc(other.Pending(), func(k Write) bool { return k.Path == w.Path }); i < 0 || other.Pending()[i].Was != w.Was {
			t.Errorf("%v is written and not kept: %v", w, other.Pending())
		}
		return false, nil
	})
	for _, w := range writes {
		if err := p.Apply(t.Context(), w); err != nil {
			t.Fatal(err)
		}
	}
	if looked != len(writes) {
		t.Errorf("%d writes of %d", looked, len(writes))
	}
}

// A write that hangs in its driver holds up the restore of no other place, and is put back
// when it comes through; what is asked to be set meanwhile is not.
func TestPanelRestoresWhileAWriteHangs(t *testing.T) {
	p := newTestPanel(t, "firmware", "cores")
	before := texts0(p.root)
	p.set(t, SetsCores, pair("3"))
	writes, err := p.Steps(SetsSetting, watt(9))
	if err != nil {
		t.Fatal(err)
	}
	hangs, through := make(chan struct{}), make(chan struct{})
	p.machine.fault(func(_ context.Context, w Write, text string) (bool, error) {
		if text == "9" && strings.Contains(w.Path, "ppt_pl1_spl") {
			close(hangs)
			<-through
		}
		return false, nil
	})
	applied := make(chan error, 1)
	go func() { applied <- p.Apply(context.Background(), writes[0]) }()
	<-hangs
	restored := make(chan error, 1)
	go func() { restored <- p.Restore(context.Background()) }()
	for until := time.Now().Add(10 * time.Second); p.now(t, "cores") != "8"; time.Sleep(time.Millisecond) {
		if time.Now().After(until) {
			t.Fatal("the processors wait for the limit")
		}
	}
	close(through)
	if err := <-applied; err == nil {
		t.Error("the write is said to be in force")
	}
	_ = <-restored // it may have been too early
	if err := p.Restore(context.Background()); err != nil {
		t.Error(err)
	}
	if after := texts0(p.root); !cmp.Equal(before, after) {
		t.Errorf("left changed: %s", cmp.Diff(before, after))
	}
}

// While first values are put back, whatever is to be set waits, and who gave it up gets his
// error.
func TestPanelAppliesAfterRestores(t *testing.T) {
	p := newTestPanel(t, "cores")
	p.set(t, SetsCores, pair("7"))
	writes, err := p.Steps(SetsCores, pair("6"))
	if err != nil {
		t.Fatal(err)
	}
	begun, through := make(chan struct{}), make(chan struct{})
	var once sync.Once
	p.machine.fault(func(_ context.Context, w Write, text string) (bool, error) {
		if text == "1" {
			once.Do(func() { close(begun) })
			<-through
		}
		return false, nil
	})
	restored := make(chan error, 2)
	go func() { restored <- p.Restore(context.Background()) }()
	<-begun
	go func() { restored <- p.Restore(context.Background()) }()
	given, cancel := context.WithCancel(context.Background())
	cancel()
	if err := p.Apply(given, writes[0]); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	applied := make(chan error, 1)
	go func() { applied <- p.Apply(context.Background(), writes[0]) }()
	select {
	case err := <-applied:
		t.Errorf("set while a restore goes on: %v", err)
	case <-time.After(20 * time.Millisecond):
	}
	close(through)
	for range 2 {
		if err := <-restored; err != nil {
			t.Error(err)
		}
	}
	if err := <-applied; err != nil || p.now(t, "cores") != "7" { // the first one off again
		t.Errorf("%v, cores %s", err, p.now(t, "cores"))
	}
}

// Busy drivers are tried again for a while that is bounded, and no longer than whoever waits.
func TestBusyIsTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		tries := 0
		busy := func() error { tries++; return syscall.EBUSY }
		begun := time.Now()
		if err := retryBusy(t.Context(), busy); !errors.Is(err, syscall.EBUSY) || tries != 6 || time.Since(begun) != 1500*time.Millisecond {
			t.Errorf("%v after %d tries and %v", err, tries, time.Since(begun))
		}
		ctx, cancel := context.WithTimeout(t.Context(), 150*time.Millisecond)
		defer cancel()
		begun, tries = time.Now(), 0
		if err := retryBusy(ctx, busy); !errors.Is(err, syscall.EBUSY) || tries != 2 || time.Since(begun) != 150*time.Millisecond {
			t.Errorf("%v after %d tries and %v", err, tries, time.Since(begun))
		}
	})
}

// Whatever is set, in whatever order, with whatever fault on the way: one restore without
// faults leaves nothing changed.
func TestNothingIsLeftChanged(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // waits take no time
		p := newTestPanel(t, "firmware", "powercap", "gpu", "profile", "cores", "governor", "energy_preference")
		before := texts0(p.root)
		values := []struct {
			key string
			v   []Value
		}{
			{SetsSetting, []Value{watt(8), watt(15), watt(25), name("low-power"), name("performance"), {}}},
			{SetsCores, []Value{pair("2"), pair("5"), pair("8"), {}}},
			{SetsGovernor, []Value{pair("performance"), pair("powersave"), {}}},
			{SetsEnergyPreference, []Value{pair("power"), {}}},
		}
		errnos := []error{nil, nil, nil, nil, syscall.EINVAL, syscall.EACCES, syscall.ENODEV}
		failed := 0
		for seed := range uint64(40) {
			r := rand.New(rand.NewPCG(seed, 17))
			p.machine.fault(func(context.Context, Write, string) (bool, error) {
				return r.IntN(8) == 0, errnos[r.IntN(len(errnos))]
			})
			for range 1 + r.IntN(4) {
				x := values[r.IntN(len(values))]
				v := x.v[r.IntN(len(x.v))]
				writes, err := p.Steps(x.key, v)
				if err != nil {
					t.Fatalf("seed %d: %s: %v", seed, v, err)
				}
				for _, w := range writes {
					if err := p.Apply(t.Context(), w); err != nil {
						failed++
						break
					}
				}
			}
			p.machine.fault(nil)
			if err := p.Restore(t.Context()); err != nil {
				t.Fatalf("seed %d: %v", seed, err)
			}
			if after := texts0(p.root); !cmp.Equal(before, after) || len(p.first.Pending()) > 0 || len(p.NotInForce(t.Context())) > 0 {
				t.Fatalf("seed %d left changed: %s", seed, cmp.Diff(before, after))
			}
		}
		if failed < 20 {
			t.Errorf("only %d faults struck", failed)
		}
	})
}
