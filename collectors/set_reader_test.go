package collectors

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// hanging is a probe that reads its count of reads and, from hang on, does not come
// back before release.
type hanging struct {
	*scripted
	hangs   atomic.Bool
	inside  atomic.Int32 // reads that hang
	mu      sync.Mutex
	release chan struct{}
}

func newHanging(instance string) *hanging {
	h := &hanging{release: make(chan struct{})}
	var n atomic.Int32 // the reads of two openings may overlap
	h.scripted = one(instance, func(_ time.Duration, dst []float64) error {
		if h.hangs.Load() {
			h.inside.Add(1)
			h.mu.Lock()
			release := h.release
			h.mu.Unlock()
			<-release
			h.inside.Add(-1)
		}
		dst[0] = float64(n.Add(1))
		return nil
	})
	return h
}

// free lets the reads that hang come back, and later ones, too.
func (h *hanging) free() {
	h.hangs.Store(false)
	h.mu.Lock()
	defer h.mu.Unlock()
	close(h.release)
	h.release = make(chan struct{})
}

// atOnce fails the test where f takes far longer than any patience.
func atOnce(t *testing.T, what string, f func()) {
	t.Helper()
	done := make(chan struct{})
	go func() { defer close(done); f() }()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		t.Fatalf("%s: still waiting after 20 s", what)
	}
}

func until(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !holds(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s: not within 20 s", what)
		}
	}
}

// A read of the sweep that hangs takes its own sensor along and no other, is said
// once, and gives its value when it comes back.
func TestAReadThatHangsLeavesTheSweep(t *testing.T) {
	h := newHanging("b")
	s, _, r, _ := newTestSet(t, constant("a", 1), h.scripted, constant("c", 3))
	s.Sweep(0)
	h.hangs.Store(true)
	atOnce(t, "sweeps", func() {
		for ms := time.Duration(100); ms < 1000; ms += 100 {
			wantValues(t, s.Sweep(ms*time.Millisecond), 1, nan, 3)
		}
	})
	if n := h.inside.Load(); n != 1 {
		t.Errorf("%d reads hang, want one", n)
	}
	if err := s.Cause(1); err == nil || !strings.Contains(err.Error(), "/src/b: a read that began 0s ago has not come back") {
		t.Errorf("cause %v", err)
	}
	if got, want := r.heard(), []string{"script b: read /src/b: it does not answer; the other sensors are read without it"}; !slices.Equal(got, want) {
		t.Errorf("heard %q", got)
	}
	if health := s.Health()[0]; !health.Up || health.Errors != 1 {
		t.Errorf("health %+v", health)
	}
	// It is neither read again nor opened anew meanwhile.
	atOnce(t, "the slow lane", func() { s.ReadSlow(time.Second); s.Rescan(time.Second) })
	if n := h.inside.Load(); n != 1 || h.opened.Load() != 1 {
		t.Errorf("%d reads hang, %d are open", n, h.opened.Load())
	}
	h.free()
	until(t, "its value is back", func() bool { v := s.Sweep(1100 * time.Millisecond)[1]; return v == v })
	if s.Cause(1) != nil {
		t.Errorf("cause %v", s.Cause(1))
	}
	for i := range quickHits + 1 {
		s.ReadSlow(time.Duration(i+3) * time.Second)
	}
	before := s.Sweep(20 * time.Second)[1]
	if now := s.Sweep(20*time.Second + 1)[1]; now != before+1 {
		t.Errorf("it is not read by the sweep again: %v, %v", before, now)
	}
	h.hangs.Store(true)
	atOnce(t, "a sweep", func() { wantValues(t, s.Sweep(21*time.Second), 1, nan, 3) })
	if len(r.heard()) != 1 {
		t.Errorf("heard %q", r.heard())
	}
	h.free()
}

// What hangs seldom hangs alone.
func TestManyReadsThatHang(t *testing.T) {
	var ps []*scripted
	var hs []*hanging
	for i := range 60 {
		h := newHanging(fmt.Sprint(i))
		hs, ps = append(hs, h), append(ps, h.scripted)
	}
	ps = append(ps, constant("a", 1))
	s, _, _, _ := newTestSet(t, ps...)
	s.Sweep(0)
	for _, h := range hs {
		h.hangs.Store(true)
	}
	start := time.Now()
	var values []float64
	atOnce(t, "a sweep", func() { values = s.Sweep(time.Second) })
	if took := time.Since(start); took > 3*time.Second || values[60] != 1 || values[0] == values[0] {
		t.Errorf("%v, %v", took, values)
	}
	start = time.Now()
	atOnce(t, "the next", func() { s.ReadSlow(2 * time.Second); s.Sweep(2 * time.Second) })
	if took := time.Since(start); took > time.Second {
		t.Errorf("the next took %v", took)
	}
	for _, h := range hs {
		h.free()
	}
}

// In the slow lane a read that hangs holds up no other either.
func TestASlowReadThatHangs(t *testing.T) {
	h := newHanging("a")
	h.interval = time.Second
	s, _, _, _ := newTestSet(t, h.scripted, counting("b", time.Second))
	s.ReadSlow(0)
	wantValues(t, s.Sweep(0), 1, 1)
	h.hangs.Store(true)
	atOnce(t, "slow reads", func() {
		for i := range 5 {
			s.ReadSlow(time.Duration(i+1) * time.Second)
		}
	})
	wantValues(t, s.Sweep(5*time.Second), 1, 6)
	wantValues(t, s.Sweep(11*time.Second), nan, 6)
	if err := s.Cause(0); err == nil {
		t.Error("no cause")
	}
	h.free()
	until(t, "its value is back", func() bool { return s.Sweep(9 * time.Second)[0] == 2 })
	s.ReadSlow(12 * time.Second)
	wantValues(t, s.Sweep(12*time.Second), 3, 7)
}

// Whoever relies on the slow lane is told that a read hangs, not what it gave before.
func TestASlowReadThatHangsIsMissingInHaste(t *testing.T) {
	h := newHanging("a")
	h.interval = time.Second
	s, _, _, _ := newTestSet(t, h.scripted, counting("b", time.Second))
	s.Hasten(time.Second)
	s.ReadSlow(0)
	wantValues(t, s.Sweep(0), 1, 1)
	h.hangs.Store(true)
	atOnce(t, "a slow read", func() { s.ReadSlow(2 * time.Second) })
	wantValues(t, s.Sweep(2*time.Second), nan, 2)
	wantValues(t, s.Sweep(4500*time.Millisecond), nan, 2)
	wantValues(t, s.Sweep(5500*time.Millisecond), nan, nan) // nobody read it for 3 s
	h.free()
	until(t, "its value is back", func() bool { return s.Sweep(4500 * time.Millisecond)[0] == 2 })
}

// A source that goes while its read hangs is closed when that comes back, not
// before, and another takes its place.
func TestASourceThatGoesWhileItHangs(t *testing.T) {
	h := newHanging("a")
	s, c, _, _ := newTestSet(t, h.scripted)
	s.Sweep(0)
	h.hangs.Store(true)
	s.Sweep(time.Second)
	c.offer()
	s.Rescan(2 * time.Second)
	if h.opened.Load() != 1 {
		t.Error("closed while it was being read")
	}
	wantValues(t, s.Sweep(2*time.Second), nan)
	c.offer(constant("a", 7))
	s.Rescan(3 * time.Second)
	s.ReadSlow(3 * time.Second)
	wantValues(t, s.Sweep(3*time.Second), 7)
	h.free()
	until(t, "it is closed", func() bool { return h.opened.Load() == 0 })
	wantValues(t, s.Sweep(4*time.Second), 7)
	c.offer()
	s.Rescan(5 * time.Second) // closes the other
}

// A read that comes back with the news that the source is gone closes it.
func TestAReadThatComesBackToFindItsSourceGone(t *testing.T) {
	release, hang := make(chan struct{}), atomic.Bool{}
	a := one("a", func(_ time.Duration, dst []float64) error {
		if hang.Load() {
			<-release
			return &ReadError{Path: "/src/a", Err: errNoDevice}
		}
		dst[0] = 1
		return nil
	})
	s, _, _, _ := newTestSet(t, a)
	s.Sweep(0)
	hang.Store(true)
	s.Sweep(time.Second)
	close(release)
	until(t, "it is closed", func() bool { return a.opened.Load() == 0 })
	if err := s.Cause(0); err == nil || !strings.Contains(err.Error(), "no such device") {
		t.Errorf("cause %v", err)
	}
}

// Close does not wait for a read that hangs.
func TestCloseWhileAReadHangs(t *testing.T) {
	h := newHanging("a")
	s, _, _, _ := newTestSet(t, h.scripted, constant("b", 2))
	s.Sweep(0)
	h.hangs.Store(true)
	s.Sweep(time.Second)
	atOnce(t, "Close", func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	wantValues(t, s.Sweep(2*time.Second), nan, nan)
	if h.opened.Load() != 1 {
		t.Error("closed while it was being read")
	}
	h.free()
}

// slowScan is a collector whose Scan or probes do not come back in time.
type slowScan struct {
	script
	name    string
	release chan struct{}
	scan    bool // whether Scan hangs, not opening
}

func (c *slowScan) Name() string { return c.name }

func (c *slowScan) Scan() ([]Offer, []Absence) {
	if c.scan {
		<-c.release
	}
	offers, absences := c.script.Scan()
	for i := range offers {
		open := offers[i].Open
		offers[i].Open = func() (Probe, error) { <-c.release; return open() }
	}
	return offers, absences
}

// Neither a scan nor an opening nor a first read that hangs holds up the others,
// and what comes of them is used.
func TestScanOpeningAndFirstReadThatHang(t *testing.T) {
	h := newHanging("a")
	h.hangs.Store(true)
	b, c := constant("b", 2), constant("c", 3)
	c.interval = time.Second // not tried before it is opened
	scanning := &slowScan{name: "scanning", release: make(chan struct{}), scan: true, script: script{offered: []*scripted{b}}}
	opening := &slowScan{name: "opening", release: make(chan struct{}), script: script{offered: []*scripted{c}}}
	r := &reports{}
	var s *Set
	atOnce(t, "NewSet", func() {
		s = NewSet(SetOptions{OnError: r.hear}, scanning, opening, &script{offered: []*scripted{h.scripted, constant("d", 4)}})
	})
	defer s.Close()
	atOnce(t, "the first reads", func() { s.ReadSlow(0); wantValues(t, s.Sweep(0), nan, 4) })
	heard := strings.Join(r.heard(), "\n")
	for _, want := range []string{"scanning : scan: not done after 2s", "opening c: open /src/c: not done after 250ms", "script a: read /src/a: it does not answer"} {
		if !strings.Contains(heard, want) {
			t.Errorf("nobody heard %q of\n%s", want, heard)
		}
	}
	close(scanning.release)
	close(opening.release)
	h.free()
	s.Rescan(5 * time.Second)
	s.ReadSlow(5 * time.Second)
	until(t, "all have values", func() bool {
		values := s.Sweep(5 * time.Second)
		return len(values) == 4 && !slices.ContainsFunc(values, func(v float64) bool { return v != v })
	})
	if c.opened.Load() != 1 || b.opened.Load() != 1 {
		t.Errorf("open: %d, %d", c.opened.Load(), b.opened.Load())
	}
}

// Sensors that no descriptor is left for are left out, said once all together with
// the first names, and had once there is room.
func TestLeftOutForLackOfDescriptors(t *testing.T) {
	full := fmt.Errorf("nothing left: %w", syscall.EMFILE)
	var ps []*scripted
	for i := range 10 {
		p := constant(fmt.Sprint(i), float64(i))
		if i >= 2 {
			p.openErr = full
		}
		ps = append(ps, p)
	}
	other := constant("other", 7)
	r := &reports{}
	s := NewSet(SetOptions{OnError: r.hear}, &script{offered: ps}, &script{offered: []*scripted{other}})
	defer s.Close()
	s.Rescan(5 * time.Second)
	wantValues(t, s.Sweep(0), 0, 1, 7)
	if got, want := r.heard(), []string{"script : 8 sensors are left out (/src/2, /src/3, /src/4, ...): nothing left: " + syscall.EMFILE.Error()}; !slices.Equal(got, want) {
		t.Errorf("heard %q", got)
	}
	if h := s.Health(); h[0].Errors != 0 {
		t.Errorf("health %+v", h)
	}
	n := 0
	for _, a := range s.Absences() {
		if strings.HasPrefix(a.Source, "/src/") && strings.Contains(a.Why, "nothing left") && strings.Contains(a.Remedy, "LimitNOFILE") {
			n++
		}
	}
	if n != 8 {
		t.Errorf("%d are told as missing", n)
	}
	for _, p := range ps {
		p.openErr = nil
	}
	s.Rescan(10 * time.Second)
	if got := len(s.Sweep(time.Second)); got != 11 || len(r.heard()) != 1 {
		t.Errorf("%d sensors, heard %q", got, r.heard())
	}
}
