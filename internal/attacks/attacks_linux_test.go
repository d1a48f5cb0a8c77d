package attacks

import (
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
)

// attack is one row of the table.
type attack struct {
	fault    string // what is done, with the number of the kind of fault before it: "2 the disk is full at a stop"
	expected string // what the program owes
	// try does it and returns what was seen, in a few words; where that is not
	// what the program owes it fails the test.
	try func(t *testing.T, m *machine) (seen string)
}

// table is the whole table: one list for each subject.
var table = [][]attack{
	usualDay,
	stayingAlive,
	moved,
	damaged,
	files,
	watched,
	numbers,
	words,
	untrue,
	elsewhere,
	unstored,
}

// usualDay is the attack that is none: where it fails, no other row tells anything.
var usualDay = []attack{{
	fault:    "0 none: start, stop, list",
	expected: "the run is finished, with its result",
	try: func(t *testing.T, m *machine) string {
		m.agent()
		m.mustRun("run", "start", "--workload", "harbour-flight", "--setting", "15W")
		m.mustRun("run", "stop", "--result", "fps_mean=60.5fps")
		list := m.mustRun("run", "list", "--json").stdout
		for _, want := range []string{`"state": "finished"`, `"value": 60.5`} {
			if !strings.Contains(list, want) {
				t.Errorf("no %s in %s", want, list)
			}
		}
		return "the run is finished, with its result"
	},
}}

// The table is printed with -v, and written to the file that SWEEPD_ATTACKS_OUT
// names, as Markdown.
func TestAttacks(t *testing.T) {
	var mu sync.Mutex
	var rows []string
	t.Run("table", func(t *testing.T) {
		for _, list := range table {
			for _, a := range list {
				at := len(rows)
				rows = append(rows, "")
				t.Run(a.fault, func(t *testing.T) {
					t.Parallel()
					seen := "nothing: the attempt broke off"
					defer func() {
						held := "held"
						if t.Failed() {
							held = "FAILED"
						}
						mu.Lock()
						defer mu.Unlock()
						rows[at] = fmt.Sprintf("| %s | %s | %s | %s |", a.fault, a.expected, seen, held)
					}()
					seen = a.try(t, newMachine(t))
				})
			}
		}
	})
	text := "| fault | expected | seen | |\n| --- | --- | --- | --- |\n" + strings.Join(rows, "\n") + "\n"
	t.Log("\n" + text)
	if path := os.Getenv("SWEEPD_ATTACKS_OUT"); path != "" {
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Error(err)
		}
	}
}
