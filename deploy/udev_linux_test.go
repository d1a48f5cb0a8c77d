package deploy

import (
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"sweepd/internal/realkernel"
)

// TestUdevRuleOpensTheCounters puts the rule of the package into a real kernel under
// a real udev.
func TestUdevRuleOpensTheCounters(t *testing.T) {
	need(t, "udevadm", "ldd", "make", "gcc", "tar", "apt-get", "dpkg-deb")
	udevInGuest(t, packageFile(built(t), "amd64"))
}

func udevInGuest(t *testing.T, deb string) {
	t.Helper()
	root := filepath.Join(t.TempDir(), "root")
	command(t, nil, "dpkg-deb", "-x", deb, root)
	counterModule(t, filepath.Join(root, "payload/counter.ko"))
	udev(t, root)
	payload := filepath.Join(t.TempDir(), "payload.tar")
	command(t, nil, "tar", "-C", root, "-cf", payload, ".")
	script, err := os.ReadFile("testdata/udev.sh")
	if err != nil {
		t.Fatal(err)
	}
	got := realkernel.Boot(t, realkernel.Options{Binary: payload, Script: string(script)})
	if got.ExitCode != 0 || !strings.HasSuffix(got.Stdout, "PASSED\n") {
		t.Fatalf("the script ended with %d:\n%s\n%s", got.ExitCode, got.Stdout, got.Console)
	}
	t.Log(got.Stdout)
	checkEnergySensor(t, got.OutDir)
	checkEnergyMetric(t, filepath.Join(got.OutDir, "metrics"))
}

// counterModule compiles testdata/powercap for the guest's kernel.
func counterModule(t *testing.T, file string) {
	t.Helper()
	work, kernel := t.TempDir(), realkernel.Kernel(t)
	headers := "linux-headers-" + kernel
	series := regexp.MustCompile(`^[0-9]+\.[0-9]+`).FindString(kernel)
	common := strings.TrimSuffix(headers, "amd64") + "common"
	command(t, nil, "sh", "-c", `cd "$0" && apt-get -q -o APT::Sandbox::User=root download "$@" && for deb in *.deb; do dpkg-deb -x "$deb" .; done`,
		work, headers, common, "linux-kbuild-"+series)
	source := filepath.Join(work, "powercap")
	command(t, nil, "cp", "-r", "deploy/testdata/powercap", source)
	// The makefile names the folder that the package would be installed in.
	build := filepath.Join(work, "usr/src", headers)
	command(t, nil, "sed", "-i", "s|/usr/src|"+work+"&|", filepath.Join(build, "Makefile"))
	command(t, nil, "make", "-C", build, "M="+source, "CC=gcc", "modules")
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	command(t, nil, "cp", filepath.Join(source, "counter.ko"), file)
}

// udev copies this system's udev, and the libraries that it needs, into root.
func udev(t *testing.T, root string) {
	t.Helper()
	command(t, nil, "sh", "-c", `mkdir -p "$0/bin" "$0/lib/systemd"
		program=$(command -v udevadm)
		cp "$program" "$0/bin/udevadm" && ln -s /bin/udevadm "$0/lib/systemd/systemd-udevd"
		ldd "$program" | grep -o '/[^ ]*' | while read -r library; do
			mkdir -p "$0$(dirname "$library")" && cp "$library" "$0$library" || exit 1
		done`, root)
}

// checkEnergySensor wants the counters in `sweepd sensors` with the rule, and without
// it a remedy in their place.
func checkEnergySensor(t *testing.T, dir string) {
	t.Helper()
	for file, want := range map[string][]string{
		"without.json": {" rig:0 denied", " rig:0:0 denied"},
		"with.json":    {"core_energy_joules rig:0:0", "package_energy_joules rig:0"},
	} {
		var list []struct {
			Sensor, Source, Missing string
			Value                   *float64
		}
		readJSON(t, filepath.Join(dir, file), &list)
		var got []string
		for _, s := range list {
			zone, name := filepath.Split(s.Source)
			if name != "energy_uj" || strings.HasSuffix(s.Sensor, "_watts") {
				continue
			}
			line := s.Sensor + " " + filepath.Base(zone)
			if strings.Contains(s.Missing, "permission denied") && strings.Contains(s.Missing, "udev rule") {
				line += " denied"
			} else if s.Value == nil {
				line += " missing: " + s.Missing
			}
			got = append(got, line)
		}
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s has the counters %q, want %q", file, got, want)
		}
	}
}

// checkEnergyMetric: the module counts 15 W.
func checkEnergyMetric(t *testing.T, file string) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile(`(?m)^sweepd_power_watts\{.*domain="package".*\} (\S+)$`).FindSubmatch(text)
	if m == nil {
		t.Fatalf("no power of the package in\n%s", text)
	}
	if watts, err := strconv.ParseFloat(string(m[1]), 64); err != nil || math.Abs(watts-15) > 0.1 {
		t.Errorf("the package draws %s W (%v), want 15", m[1], err)
	}
}
