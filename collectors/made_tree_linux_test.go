package collectors

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"sweepd/run"
)

// madeTree writes files (path below the roots: content) and links (path: "-> "
// and the path it points to, below the roots too).
func madeTree(t testing.TB, files map[string]string) Roots {
	t.Helper()
	dir := t.TempDir()
	for path, content := range files {
		name := filepath.Join(dir, path)
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if target, isLink := strings.CutPrefix(content, "-> "); isLink {
			if err := os.MkdirAll(filepath.Join(dir, target), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(filepath.Join(dir, target), name); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if err := os.WriteFile(name, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return Roots{Sys: filepath.Join(dir, "sys"), Proc: filepath.Join(dir, "proc")}
}

// rewrite changes a file in place, as the kernel does under an open descriptor.
func rewrite(t testing.TB, path, content string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
}

// reading is what one sensor of a collector gave at its first read.
type reading struct {
	sensor run.Sensor
	value  float64
	err    error
}

// readings opens and reads once all that a collector offers, by "id instance"
// (the id alone without an instance).
func readings(t testing.TB, c Collector) map[string]reading {
	t.Helper()
	found := map[string]reading{}
	offers, _ := c.Scan()
	for _, o := range offers {
		p := opened(t, o)
		values := make([]float64, len(o.Sensors))
		err := p.Read(time.Second, values)
		for i, s := range o.Sensors {
			key := strings.TrimSpace(s.ID + " " + s.Instance)
			if _, twice := found[key]; twice {
				t.Errorf("%s: two sensors are called %q", c.Name(), key)
			}
			found[key] = reading{sensor: s, value: values[i], err: err}
		}
	}
	return found
}

func opened(t testing.TB, o Offer) Probe {
	t.Helper()
	p, err := o.Open()
	if err != nil {
		t.Fatalf("open %s %s: %v", o.Sensors[0].ID, o.Sensors[0].Instance, err)
	}
	t.Cleanup(func() { _ = p.Close() })
	return p
}

// wantReadings compares a collector's readings with what is expected, all of
// them; NaN expects a missing reading with a *ReadError. Values are equal: each
// is one correctly rounded division or product.
func wantReadings(t *testing.T, c Collector, want map[string]float64) {
	t.Helper()
	got := readings(t, c)
	for key, v := range want {
		r, ok := got[key]
		switch {
		case !ok:
			t.Errorf("%s: no sensor %q", c.Name(), key)
		case math.IsNaN(v):
			var readError *ReadError
			if !math.IsNaN(r.value) || !errors.As(r.err, &readError) {
				t.Errorf("%s: %q = %v with error %v, want it missing with a ReadError", c.Name(), key, r.value, r.err)
			}
		case r.err != nil:
			t.Errorf("%s: %q: %v", c.Name(), key, r.err)
		case r.value != v:
			t.Errorf("%s: %q = %v, want %v", c.Name(), key, r.value, v)
		}
	}
	for key, r := range got {
		if _, expected := want[key]; !expected {
			t.Errorf("%s: unexpected sensor %q = %v from %s", c.Name(), key, r.value, r.sensor.Source)
		}
	}
}

var missing = math.NaN()
