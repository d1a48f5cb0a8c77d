package collectors

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
)

// contractRow is a collector and a tree on which it finds something. Every
// collector has at least one row in contract_rows_linux_test.go, and every row
// passes the whole suite.
type contractRow struct {
	name  string
	make  func(Roots) Collector
	files map[string]string // as for madeTree
	// values are the files that are read at every sweep; when all of them are
	// broken, every reading is missing.
	values []string
	// advance, given the number of the read, changes files so that rates can
	// be formed; nil where nothing needs to move.
	advance func(t testing.TB, roots Roots, n int)
	// library is set where a library reads for us: it allocates, opens its
	// files at every read, and its errors are its own.
	library bool
}

func TestContract(t *testing.T) {
	for _, row := range contractRows {
		t.Run(row.name, func(t *testing.T) {
			t.Run("scan", func(t *testing.T) { contractScan(t, row) })
			t.Run("names", func(t *testing.T) { contractNames(t, row) })
			t.Run("roots", func(t *testing.T) { contractRoots(t, row) })
			t.Run("allocations", func(t *testing.T) { contractAllocations(t, row) })
			for name, content := range brokenContents {
				t.Run(name, func(t *testing.T) { contractBroken(t, row, content) })
			}
			t.Run("missing", func(t *testing.T) { contractMissing(t, row) })
			t.Run("return", func(t *testing.T) { contractReturn(t, row) })
			t.Run("close", func(t *testing.T) { contractClose(t, row) })
		})
	}
}

// brokenContents are no reading of anything.
var brokenContents = map[string]string{
	"empty":    "",
	"blank":    "\n",
	"garbage":  "n/a\n",
	"unknown":  "<unknown>\n",
	"huge":     strings.Repeat("9", 1<<20),
	"binary":   "\x00\xff\xfe\x7fELF\x01\x02",
	"overflow": "99999999999999999999\n",
}

func (row contractRow) tree(t testing.TB) Roots { return madeTree(t, row.files) }

func (row contractRow) path(roots Roots, file string) string {
	return filepath.Join(filepath.Dir(roots.Sys), filepath.FromSlash(file))
}

func (row contractRow) move(t testing.TB, roots Roots, n int) {
	if row.advance != nil {
		row.advance(t, roots, n)
	}
}

// repair puts the files of the values back as they were.
func (row contractRow) repair(t testing.TB, roots Roots) {
	for _, file := range row.values {
		rewrite(t, row.path(roots, file), row.files[file])
	}
}

// openFiles counts this process's open files below a folder.
func openFiles(t testing.TB, roots Roots) int {
	t.Helper()
	fds, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, fd := range fds {
		target, _ := os.Readlink(filepath.Join("/proc/self/fd", fd.Name())) // the one of ReadDir itself is gone
		if strings.HasPrefix(target, filepath.Dir(roots.Sys)) {
			n++
		}
	}
	return n
}

// A scan says the same again, and keeps nothing open.
func contractScan(t *testing.T, row contractRow) {
	roots := row.tree(t)
	c := row.make(roots)
	offers, absences := c.Scan()
	if len(offers) == 0 {
		t.Fatalf("nothing found; absences %v", absences)
	}
	again, absencesAgain := c.Scan()
	if d := cmp.Diff(offers, again, cmpopts.IgnoreFields(Offer{}, "Open")); d != "" {
		t.Errorf("the second scan offers something else (-first +second):\n%s", d)
	}
	if d := cmp.Diff(absences, absencesAgain); d != "" {
		t.Errorf("the second scan misses something else (-first +second):\n%s", d)
	}
	if n := openFiles(t, roots); n != 0 {
		t.Errorf("%d files open after a scan", n)
	}
	_, absences = row.make(Roots{Sys: roots.sys("none"), Proc: roots.proc("none")}).Scan()
	for _, a := range absences {
		if a.Collector != c.Name() || a.Source == "" || a.Why == "" {
			t.Errorf("absence %+v: collector, source and reason must be given", a)
		}
	}
}

var (
	sensorID = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
	units    = []string{"watts", "joules", "volts", "amperes", "celsius", "hertz", "ratio", "bytes", "seconds"}
)

// Names are as Prometheus' naming practices have them (its linter is asked): a
// base unit, plural, at the end. No two sensors of a machine have the same name.
func contractNames(t *testing.T, row contractRow) {
	roots := row.tree(t)
	offers, _ := row.make(roots).Scan()
	seen := map[sensorKey]bool{}
	for _, o := range offers {
		for _, s := range o.Sensors {
			if seen[keyOf(s)] {
				t.Errorf("two sensors are called %s %q", s.ID, s.Instance)
			}
			seen[keyOf(s)] = true
			if !sensorID.MatchString(s.ID) {
				t.Errorf("id %q", s.ID)
			}
			if s.Unit != "" && (!slices.Contains(units, s.Unit) || !strings.HasSuffix(s.ID, "_"+s.Unit)) {
				t.Errorf("%s: unit %q is not of the list or not the end of the id", s.ID, s.Unit)
			}
			if s.Unit == "" && slices.ContainsFunc(units, func(u string) bool { return strings.HasSuffix(s.ID, u) }) {
				t.Errorf("%s: has no unit but ends in one", s.ID)
			}
			if !(s.Resolution > 0) || math.IsInf(s.Resolution, 0) {
				t.Errorf("%s: resolution %v", s.ID, s.Resolution)
			}
			text := fmt.Sprintf("# HELP %[1]s x\n# TYPE %[1]s gauge\n%[1]s 1\n", s.ID)
			problems, err := promlint.New(strings.NewReader(text)).Lint()
			if err != nil || len(problems) > 0 {
				t.Errorf("%s: %v %v", s.ID, problems, err)
			}
			if strings.HasPrefix(s.Source, "/") {
				if found, err := filepath.Glob(s.Source); err != nil || len(found) == 0 || !strings.HasPrefix(s.Source, filepath.Dir(roots.Sys)) {
					t.Errorf("%s: source %s is not below the roots (%v)", s.ID, s.Source, err)
				}
			} else if !row.library {
				t.Errorf("%s: source %q is no path", s.ID, s.Source)
			}
		}
	}
}

// HOST_SYS and HOST_PROC lead to the same sensors.
func contractRoots(t *testing.T, row contractRow) {
	roots := row.tree(t)
	t.Setenv("HOST_SYS", roots.Sys)
	t.Setenv("HOST_PROC", roots.Proc)
	want, _ := row.make(roots).Scan()
	got, _ := row.make(HostRoots()).Scan()
	if d := cmp.Diff(want, got, cmpopts.IgnoreFields(Offer{}, "Open")); d != "" {
		t.Errorf("through the environment (-want +got):\n%s", d)
	}
}

// contractProbes opens all that a row offers and reads it twice, as rates need.
// Every reading must be there.
type contractProbes struct {
	row    contractRow
	roots  Roots
	offers []Offer
	probes []Probe
	reads  int
}

func openContract(t *testing.T, row contractRow) *contractProbes {
	t.Helper()
	p := &contractProbes{row: row, roots: row.tree(t)}
	p.offers, _ = row.make(p.roots).Scan()
	for _, o := range p.offers {
		p.probes = append(p.probes, opened(t, o))
	}
	p.read(t)
	p.mustRead(t, "at first")
	return p
}

// read moves on by a second and reads every probe.
func (p *contractProbes) read(t *testing.T) (values [][]float64, errs []error) {
	t.Helper()
	p.row.move(t, p.roots, p.reads)
	p.reads++
	for i, probe := range p.probes {
		dst := slices.Repeat([]float64{-12345}, len(p.offers[i].Sensors))
		errs = append(errs, probe.Read(time.Duration(p.reads)*time.Second, dst))
		if slices.Contains(dst, -12345) {
			t.Errorf("%s: a value was not stored", p.offers[i].Sensors[0].ID)
		}
		values = append(values, dst)
	}
	return values, errs
}

func (p *contractProbes) mustRead(t *testing.T, when string) {
	t.Helper()
	values, errs := p.read(t)
	for i, dst := range values {
		if errs[i] != nil {
			t.Errorf("%s: %v", when, errs[i])
		}
		for j, v := range dst {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				s := p.offers[i].Sensors[j]
				t.Errorf("%s: %s %q is %v", when, s.ID, s.Instance, v)
			}
		}
	}
}

// Reading allocates nothing while all is well.
func contractAllocations(t *testing.T, row contractRow) {
	p := openContract(t, row)
	for i, probe := range p.probes {
		dst := make([]float64, len(p.offers[i].Sensors))
		now := time.Minute
		n := testing.AllocsPerRun(100, func() {
			now += time.Second
			_ = probe.Read(now, dst)
		})
		if n != 0 && !row.library {
			t.Errorf("%s %q: %v allocations a read", p.offers[i].Sensors[0].ID, p.offers[i].Sensors[0].Instance, n)
		}
	}
}

// What a broken file should say is missing; the error names the file, and stays
// the same as long as its cause. Repaired, everything reads again.
func contractBroken(t *testing.T, row contractRow, content string) {
	p := openContract(t, row)
	for _, file := range row.values {
		rewrite(t, row.path(p.roots, file), content)
	}
	p.row.advance = nil // it would repair them
	values, errs := p.read(t)
	p.mustBeMissing(t, values, errs)
	_, again := p.read(t)
	for i := range errs {
		if errs[i] != again[i] {
			t.Errorf("another error for the same cause: %v, then %v", errs[i], again[i])
		}
	}
	row.repair(t, p.roots)
	p.row.advance = row.advance
	p.read(t) // where rates begin anew
	p.mustRead(t, "repaired")
}

func (p *contractProbes) mustBeMissing(t *testing.T, values [][]float64, errs []error) {
	t.Helper()
	for i, dst := range values {
		for j, v := range dst {
			if !math.IsNaN(v) {
				t.Errorf("%s %q is %v, want it missing", p.offers[i].Sensors[j].ID, p.offers[i].Sensors[j].Instance, v)
			}
		}
		if errs[i] == nil {
			t.Errorf("%s: no error", p.offers[i].Sensors[0].ID)
			continue
		}
		re, ok := errors.AsType[*ReadError](errs[i])
		if !ok {
			if !p.row.library {
				t.Errorf("error %v is no *ReadError", errs[i])
			}
			continue
		}
		if !strings.HasPrefix(re.Path, filepath.Dir(p.roots.Sys)) || !strings.Contains(errs[i].Error(), re.Path) {
			t.Errorf("error %q does not name its file", errs[i])
		}
		if len(errs[i].Error()) > 1000 {
			t.Errorf("error of %d bytes", len(errs[i].Error()))
		}
	}
}

// Files that go between the scan and the opening: Open says so and leaves
// nothing open, or what it opens reads as missing.
func contractMissing(t *testing.T, row contractRow) {
	roots := row.tree(t)
	offers, _ := row.make(roots).Scan()
	for _, file := range row.values {
		if err := os.Remove(row.path(roots, file)); err != nil {
			t.Fatal(err)
		}
	}
	for _, o := range offers {
		p, err := o.Open()
		if err != nil {
			if !errors.Is(err, os.ErrNotExist) && !row.library {
				t.Errorf("%s: error %v does not say that a file is missing", o.Sensors[0].ID, err)
			}
			continue
		}
		dst := make([]float64, len(o.Sensors))
		err = p.Read(time.Second, dst)
		for j, v := range dst {
			if !math.IsNaN(v) {
				t.Errorf("%s is %v without its file", o.Sensors[j].ID, v)
			}
		}
		if err == nil {
			t.Errorf("%s: no error without its file", o.Sensors[0].ID)
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	}
	if n := openFiles(t, roots); n != 0 {
		t.Errorf("%d files left open", n)
	}
}

// In a Set, what vanishes is missing at its place in the sweep, and back there
// when it returns.
func contractReturn(t *testing.T, row contractRow) {
	roots := row.tree(t)
	s := NewSet(SetOptions{Elapsed: func() time.Duration { return 0 }}, row.make(roots))
	defer s.Close()
	n := 0
	sweep := func() []float64 {
		row.move(t, roots, n)
		n++
		now := time.Duration(n) * time.Second
		s.ReadSlow(now)
		return slices.Clone(s.Sweep(now))
	}
	whole := func(when string) {
		t.Helper()
		sweep()
		for i, v := range sweep() {
			if math.IsNaN(v) {
				t.Errorf("%s: %s %q is missing", when, s.Sensors()[i].ID, s.Sensors()[i].Instance)
			}
		}
	}
	whole("at first")
	before := s.Sensors()

	away := roots.Sys + ".away"
	procAway := roots.Proc + ".away"
	move := func(from, to string) {
		if err := os.Rename(from, to); err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
	}
	move(roots.Sys, away)
	move(roots.Proc, procAway)
	advance := row.advance
	row.advance = nil
	s.Rescan(0)
	for i, v := range sweep() {
		if !math.IsNaN(v) {
			t.Errorf("gone: %s %q is %v", s.Sensors()[i].ID, s.Sensors()[i].Instance, v)
		}
	}
	for i := range before {
		if s.Cause(i) == nil {
			t.Errorf("gone: no cause for %s %q", before[i].ID, before[i].Instance)
		}
	}
	if n := openFiles(t, roots); n != 0 {
		t.Errorf("gone: %d files open", n)
	}
	move(away, roots.Sys)
	move(procAway, roots.Proc)
	row.advance = advance
	s.Rescan(0)
	whole("returned")
	if d := cmp.Diff(before, s.Sensors()); d != "" {
		t.Errorf("sensors moved (-before +after):\n%s", d)
	}
}

// Close closes everything.
func contractClose(t *testing.T, row contractRow) {
	roots := row.tree(t)
	offers, _ := row.make(roots).Scan()
	var probes []Probe
	for _, o := range offers {
		p, err := o.Open()
		if err != nil {
			t.Fatal(err)
		}
		_ = p.Read(0, make([]float64, len(o.Sensors)))
		probes = append(probes, p)
	}
	if n := openFiles(t, roots); n == 0 && !row.library {
		t.Error("files do not stay open between reads")
	}
	for _, p := range probes {
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	}
	if n := openFiles(t, roots); n != 0 {
		t.Errorf("%d files left open", n)
	}
}
