package alarm

import (
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func rings(a *Alarm, within time.Duration) bool {
	select {
	case <-a.Rang():
		return true
	case <-time.After(within):
		return false
	}
}

// An alarm rings once after each setting, and not where it was put off or set to later.
func TestAlarm(t *testing.T) {
	gone := &Alarm{rang: make(chan struct{}, 1)} // as where no descriptor is left
	gone.goTimer.start(gone.ring)
	for what, a := range map[string]*Alarm{"system's": New(), "Go's": gone} {
		defer a.Close()
		began := time.Now()
		a.Set(20 * time.Millisecond)
		if !rings(a, 10*time.Second) || time.Since(began) < 19*time.Millisecond {
			t.Errorf("%s: rang after %v, want 20 ms", what, time.Since(began))
		}
		a.Set(20 * time.Millisecond)
		a.Off()
		if rings(a, 100*time.Millisecond) {
			t.Errorf("%s: it was put off and rang", what)
		}
		for range 5 {
			a.Set(time.Hour)
			a.Set(time.Millisecond)
			if !rings(a, 10*time.Second) {
				t.Errorf("%s: it does not ring again", what)
			}
		}
		a.Set(time.Millisecond)
		time.Sleep(20 * time.Millisecond)
		a.Set(time.Hour)
		if rings(a, 50*time.Millisecond) {
			t.Errorf("%s: an old ring is heard after it was set anew", what)
		}
	}
}
