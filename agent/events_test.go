package agent

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

func about(id string) func() (run.Event, error) {
	return func() (run.Event, error) {
		return run.Event{Kind: run.RunCorrected, Run: run.Run{ID: id}}, nil
	}
}

// Every subscriber hears of everything in the same order, one that hangs too, once
// it goes on; it delays neither the publisher nor the others.
func TestASlowSubscriberDelaysNobody(t *testing.T) {
	var e Events
	hang, hanging := make(chan struct{}), make(chan struct{})
	var once sync.Once
	var quick, slow []string
	q := e.Subscribe(func(x run.Event) { quick = append(quick, x.Run.ID) })
	s := e.Subscribe(func(x run.Event) {
		once.Do(func() { close(hanging); <-hang })
		slow = append(slow, x.Run.ID)
	})
	var all sync.WaitGroup
	const each = 50
	for p := range 4 {
		all.Go(func() {
			for i := range each {
				if err := e.Publish(about(fmt.Sprintf("%d %02d", p, i))); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait() // although one hangs
	<-hanging
	q.Flush()
	if len(quick) != 4*each {
		t.Errorf("the quick one heard of %d events while another hangs, want %d", len(quick), 4*each)
	}
	close(hang)
	s.Flush()
	if !slices.Equal(slow, quick) {
		t.Errorf("the slow one heard\n%v\nthe quick one\n%v", slow, quick)
	}
	for p := range 4 {
		own := slices.DeleteFunc(slices.Clone(quick), func(id string) bool { return !strings.HasPrefix(id, fmt.Sprint(p)) })
		if !slices.IsSorted(own) {
			t.Errorf("events of publisher %d came as %v", p, own)
		}
	}
	s.Close()
	if err := e.Publish(about("after")); err != nil {
		t.Fatal(err)
	}
	if q.Flush(); len(slow) != 4*each || quick[len(quick)-1] != "after" {
		t.Error("a closed subscription heard more, or the other did not")
	}
}

// What could not be stored did not happen.
func TestNothingIsToldOfAFailure(t *testing.T) {
	var e Events
	heard := 0
	s := e.Subscribe(func(run.Event) { heard++ })
	if err := e.Publish(func() (run.Event, error) { return run.Event{Kind: run.RunEnded}, errDisk }); !errors.Is(err, errDisk) {
		t.Errorf("publishing after a failure: %v", err)
	}
	if s.Flush(); heard != 0 {
		t.Errorf("%d events of what failed", heard)
	}
}

// The last that is told of a run is what is stored of it, however many change it.
func TestEventsComeInTheOrderOfWhatIsStored(t *testing.T) {
	var e Events
	stored, told := 0, 0
	s := e.Subscribe(func(x run.Event) { told = len(x.Run.Note) })
	var all sync.WaitGroup
	for range 100 {
		all.Go(func() {
			_ = e.Publish(func() (run.Event, error) {
				stored++ // unguarded on purpose: Publish is the guard
				return run.Event{Run: run.Run{Note: strings.Repeat("x", stored)}}, nil
			})
		})
	}
	all.Wait()
	if s.Flush(); stored != 100 || told != 100 {
		t.Errorf("%d changes stored, the last one told is the %dth", stored, told)
	}
}

func TestTheAgentTellsWhatItSees(t *testing.T) {
	plugged := true
	s := newStepped(t, func(d time.Duration) scripted.State {
		if plugged {
			return scripted.OnMains(d)
		}
		return scripted.OnBattery(d)
	})
	var heard []string
	s.Subscribe(func(e run.Event) {
		if e.Kind == run.SettingNow || e.Kind == run.SupplyNow {
			heard = append(heard, fmt.Sprint(e.Kind, " ", e.Labels.Setting, " ", e.Labels.Supply))
			return
		}
		heard = append(heard, fmt.Sprint(e.Kind, " ", e.Run.ID, " ", e.Run.State, " ", e.Run.Setting))
	})
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort", Setting: run.Watts(20)})
	s.pass(t, 6*time.Second)
	mustStop(t, s.Agent, run.Stop{})
	plugged = false
	if err := s.SweepIdle(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := len(heard); n != 5 { // in stepped mode before the call returns
		t.Errorf("%d events after the supply changed, want 5", n)
	}
	if err := s.Declare(t.Context(), run.Setting{}, ""); err != nil {
		t.Fatal(err)
	}
	s.n.fail(errDisk)
	if _, err := s.StartRun(t.Context(), run.Start{Workload: "tile-sort"}); err == nil {
		t.Error("a run started on a full disk")
	}
	want := []string{
		"setting 20W mains", "supply 20W mains", "run started run-1 recording 20W", "run ended run-1 finished 20W",
		"supply 20W battery", "setting 15W battery",
	}
	if !slices.Equal(heard, want) {
		t.Errorf("heard\n%s\nwant\n%s", strings.Join(heard, "\n"), strings.Join(want, "\n"))
	}
}
