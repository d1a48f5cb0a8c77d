package realkernel

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// The kernel's drivers must report what Timeline says, from a moment after the
// clock was read to before it was read again; for the battery up to the age of
// the kernel's copy earlier. Names and units: Linux, Documentation/ABI/testing/
// sysfs-class-power, sysfs-class-thermal, Documentation/hwmon/sysfs-interface.
func TestReadingsFollowTimeline(t *testing.T) {
	sampler := Build(t, "./testdata/sampler")
	for _, c := range []struct {
		name     string
		timeline Timeline
		files    string
		args     []string
		age      time.Duration // of the kernel's copy, and one step of its clock
	}{
		{"energy", Timeline{}, "power_now energy_now", nil, 1004 * time.Millisecond},
		{"charge", Timeline{ChargeUnits: true}, "current_now charge_now", []string{"battery.cache_time=0"}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := Boot(t, Options{
				Binary: sampler, ChargeUnits: c.timeline.ChargeUnits, KernelArgs: c.args,
				Script: "exec sampler 900ms 156000 " + c.files + " /sys/class/hwmon/hwmon*/device/power1_average",
			})
			if got.ExitCode != 0 {
				t.Fatalf("sampler: exit code %d:\n%s", got.ExitCode, got.Stdout)
			}
			sweeps := parse(t, got.Stdout)
			if len(sweeps) < 170 {
				t.Fatalf("%d sweeps in 156 s, want one every 900 ms", len(sweeps))
			}
			for _, s := range sweeps {
				s.check(t, c.timeline, c.age)
			}
		})
	}
}

// sweep is one line of the sampler.
type sweep struct {
	before, after time.Duration
	state         State
}

func parse(t *testing.T, text string) []sweep {
	var sweeps []sweep
	for line := range strings.Lines(text) {
		var before, after, online int64
		var s sweep
		_, err := fmt.Sscan(line, &before, &after, &online, &s.state.Status, &s.state.ReportedRate,
			&s.state.ReportedContent, &s.state.Temperature, &s.state.Meter)
		if err != nil {
			t.Fatalf("line of the sampler %q: %v", line, err)
		}
		s.before, s.after = time.Duration(before)*time.Millisecond, time.Duration(after)*time.Millisecond
		s.state.Mains = online == 1
		sweeps = append(sweeps, s)
	}
	return sweeps
}

// check compares each file by itself: one pass may straddle an edge.
func (s sweep) check(t *testing.T, l Timeline, age time.Duration) {
	t.Helper()
	if width := s.after - s.before; width < 0 || width > 100*time.Millisecond {
		t.Errorf("sweep from %v to %v: the clock fell or the guest stood still", s.before, s.after)
	}
	for _, f := range []struct {
		name string
		age  time.Duration
		of   func(State) any
	}{
		{"online", 0, func(s State) any { return s.Mains }},
		{"status", age, func(s State) any { return s.Status }},
		{"rate", age, func(s State) any { return s.ReportedRate }},
		{"content", age, func(s State) any { return s.ReportedContent }},
		{"temperature", 0, func(s State) any { return s.Temperature }},
		{"power meter", 0, func(s State) any { return s.Meter }},
	} {
		agrees := false
		for at := s.before - f.age; at <= s.after && !agrees; at += time.Millisecond {
			agrees = f.of(l.At(at)) == f.of(s.state)
		}
		if !agrees {
			t.Errorf("%s read between %v and %v: %v, the timeline has %v to %v", f.name, s.before, s.after,
				f.of(s.state), f.of(l.At(s.before-f.age)), f.of(l.At(s.after)))
		}
	}
}

// The script sets a temperature on the stub bus; 0x803d is 61.5 °C in the
// sensor's register: 0x3d whole degrees, 0x80 a half, low byte first.
func TestStubBusSensor(t *testing.T) {
	t.Parallel()
	got := Boot(t, Options{Script: `
		modprobe i2c-dev && modprobe i2c-stub chip_addr=0x48 && modprobe lm75 || exit 1
		echo lm75 0x48 >/sys/bus/i2c/devices/i2c-0/new_device
		set_sensor() { i2cset -f -y 0 0x48 0 $1 w; cat /sys/bus/i2c/devices/0-0048/hwmon/hwmon*/temp1_input; }
		set_sensor 0x803d
		set_sensor 0x0019
		mkdir -p /out/some/folder && echo kept >/out/some/folder/file
		exit 7`})
	if want := "61500\n25000\n"; !strings.HasSuffix(got.Stdout, want) {
		t.Errorf("the script printed %q, want at its end %q", got.Stdout, want)
	}
	if got.ExitCode != 7 {
		t.Errorf("exit code %d, want the script's, 7", got.ExitCode)
	}
	kept, err := os.ReadFile(filepath.Join(got.OutDir, "some/folder/file"))
	if err != nil || string(kept) != "kept\n" {
		t.Errorf("the guest's /out/some/folder/file came as %q, %v", kept, err)
	}
}

func TestSameScriptSameOutput(t *testing.T) {
	t.Parallel()
	script := "for i in 1 2 3; do cat $RIG_CLOCK /proc/uptime; sleep 0.37; done; head -c 16 /dev/urandom | hexdump; date"
	first := Boot(t, Options{Script: script})
	second := Boot(t, Options{Script: script})
	if first.Stdout != second.Stdout || first.Stdout == "" {
		t.Errorf("two runs of one script printed\n%s\nand\n%s", first.Stdout, second.Stdout)
	}
}

func TestGuestStopsAtDeadline(t *testing.T) {
	if err := checkHost(); err != nil {
		t.Skip(err) // the tests above fail for it in CI
	}
	if _, err := guestImage(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
	defer cancel()
	_, err := boot(ctx, t.TempDir(), Options{Script: "sleep 1000000"})
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got error %v, want the deadline's", err)
	}
}

// recorder ends Boot as a test would and keeps how.
type recorder struct {
	testing.TB
	failed, skipped string
}

func (r *recorder) Helper()           {}
func (r *recorder) Fatal(args ...any) { r.failed = fmt.Sprint(args...); panic(r) }
func (r *recorder) Skip(args ...any)  { r.skipped = fmt.Sprint(args...); panic(r) }

func TestHostWithoutPackages(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	for _, ci := range []string{"", "true"} {
		t.Setenv("CI", ci)
		r := &recorder{TB: t}
		func() {
			defer func() { _ = recover() }()
			Boot(r, Options{Script: "true"})
		}()
		says, silent := r.skipped, r.failed
		if ci == "true" {
			says, silent = silent, says
		}
		if silent != "" || !strings.Contains(says, "apt-get install") || !strings.Contains(says, "qemu-system-x86") {
			t.Errorf("CI=%q: skipped with %q, failed with %q", ci, r.skipped, r.failed)
		}
	}
}

func TestOutputThatEndsEarly(t *testing.T) {
	for _, c := range []struct{ output, stdout, says string }{
		{"half a li", "half a li", "before the script's end"},
		{"text\n\x1cexit 0", "text\n", "before the script's end"},
		{"text\n\x1cexit zero\n", "text\n", "exit code"},
		{"text\n\x1cexit 0\nno archive", "text\n", "10 bytes"},
	} {
		got, err := parseOutput(t.Context(), Result{}, []byte(c.output), t.TempDir())
		if err == nil || !strings.Contains(err.Error(), c.says) || got.Stdout != c.stdout {
			t.Errorf("%q: got %q and error %v, want %q and %q", c.output, got.Stdout, err, c.stdout, c.says)
		}
	}
}
