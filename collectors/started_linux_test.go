package collectors

import (
	"testing"
	"time"
)

// btime of the kernel's example in Documentation/filesystems/proc.rst is 1062191376.
func TestMachineStarted(t *testing.T) {
	of := func(stat string) time.Time { return MachineStarted(madeTree(t, map[string]string{"proc/stat": stat})) }
	if got := of("cpu  237902850 368826709 106375398 1873517540 1135548 0 14507935 0 0 0\nintr 8688370575 8\nctxt 22848221062\nbtime 1062191376\nprocesses 1"); got.Unix() != 1062191376 {
		t.Errorf("got %v", got)
	}
	for _, stat := range []string{"", "btime", "btime x", "btime -3", "cpu 1 2"} {
		if got := of(stat); !got.IsZero() {
			t.Errorf("%q: %v", stat, got)
		}
	}
	if got := MachineStarted(madeTree(t, nil)); !got.IsZero() {
		t.Errorf("no file: %v", got)
	}
	if got := time.Since(MachineStarted(Roots{})); got < 0 || got > 10*365*24*time.Hour {
		t.Errorf("this machine was started %v ago", got)
	}
}
