package collectors

import "testing"

// Every fact of this machine has its row in the table, whatever the system.
func TestFactsAreDocumented(t *testing.T) {
	known := map[string]bool{}
	for _, f := range FactKeys {
		if f.Key == "" || f.Meaning == "" || known[f.Key] {
			t.Errorf("row %+v is empty or there twice", f)
		}
		known[f.Key] = true
	}
	facts := ReadFacts(Roots{})
	for key, value := range facts {
		if !known[key] || value == "" {
			t.Errorf("fact %q = %q: no such row, or nothing said", key, value)
		}
	}
	for _, key := range []string{"kernel_version", "os", "cpus_online", "memory_total_bytes"} {
		if facts[key] == "" {
			t.Errorf("no %s on this machine", key)
		}
	}
}

func BenchmarkReadFacts(b *testing.B) {
	for b.Loop() {
		ReadFacts(Roots{})
	}
}
