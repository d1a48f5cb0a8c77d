package sentence

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestFacts(t *testing.T) {
	got := Facts(map[string][]string{
		"memory_total_bytes": {"16673398784"}, "cpu_frequency_max_hertz": {"3400000000"}, "battery_full_wh": {"48.6", "48.601", "47.9"},
		"host_model": {"oak 1"}, "battery_cycles": {"12, 14"}, "charger_watts": {"65"}, "cpus_online": {"16"}, "dock_watts": {"7.5"}, "a_note": {""}, "cpu_microcode": {"0x1f"},
	})
	want := []Fact{
		{"model", "oak 1"}, {"microcode version", "0x1f"}, {"logical CPUs in use", "16"}, {"highest CPU clock allowed", "3.4 GHz"}, {"memory", "15.5 GiB"},
		{"battery when full today", "48.6 Wh and 47.9 Wh"}, {"charge cycles of the battery", "12, 14"}, {"rating of the charger", "65 W"},
		{"a note", "nothing"}, {"dock", "7.5 W"},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// What is no number of its unit is shown as it was read.
func TestFactValueOdd(t *testing.T) {
	for _, c := range [][3]string{
		{"memory_total_bytes", "many", "many"}, {"memory_total_bytes", "-1", "-1"}, {"memory_total_bytes", "1e300", "1e300"}, {"cpu_frequency_max_hertz", "NaN", "NaN"},
		{"memory_total_bytes", "17179869184", "16.0 GiB"}, {"memory_total_bytes", "0", "0 B"}, {"kernel_version", "6.1", "6.1"},
	} {
		if got := FactValue(c[0], c[1]); got != c[2] {
			t.Errorf("%s %s: got %q, want %q", c[0], c[1], got, c[2])
		}
	}
}
