package attacks

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"
)

// damaged is what a disk, a stick or a kill does to what was recorded.
var damaged = []attack{
	{
		fault:    "6 the agent is killed 1.7 s into a run that is swept every 900 ms",
		expected: "the run has lost at most the last second",
		try: func(t *testing.T, m *machine) string {
			m.device()
			a := m.agent("--config", m.write("c.yaml", "interval: 900ms\n"))
			began := time.Now()
			m.mustRun("run", "start", "--workload", "harbour-flight")
			m.eventually("1.7 s go by", func() bool { return time.Since(began) > 1700*time.Millisecond })
			killed := time.Now()
			a.kill()
			m.agent()
			var r struct {
				State     string    `json:"state"`
				StartedAt time.Time `json:"started_at"`
				DurationS *float64  `json:"duration_s"`
			}
			m.eventually("the run is judged", func() bool {
				return json.Unmarshal([]byte(m.mustRun("run", "show", "last", "--json").stdout), &r) == nil && r.State == "interrupted" && r.DurationS != nil
			})
			lost := killed.Sub(r.StartedAt).Seconds() - *r.DurationS
			if lost > 1 {
				t.Errorf("it lost the last %.2f s", lost)
			}
			return fmt.Sprintf("it lost %.2f s", lost)
		},
	},
	flipped("the result of a run", real(61.25), "results of run"),
	flipped("the label of a run", []byte("tile-sort-2"), "labels and watts of run"),
	flipped("the note of a run", []byte("by the window"), "labels and watts of run"),
	{
		fault:    "8 a byte of what tells the sensors of a run is flipped",
		expected: "the report goes on without its readings, says so and exits with 1; its results are whole; check names the run",
		try: func(t *testing.T, m *machine) string {
			m.device()
			a := m.agent()
			m.mustRun("run", "start", "--workload", "harbour-flight")
			m.mustRun("run", "stop", "--result", "fps_mean=60.5fps")
			a.stop()
			m.flip([]byte("energy_uj"))
			o := m.run("check", "--json")
			if o.code != 1 || !strings.Contains(o.stdout, `"readings"`) {
				t.Errorf("check: exit %d: %s%s", o.code, o.stdout, o.stderr)
			}
			if o := m.run("report", "--out", m.path("report")); o.code != 1 || !strings.Contains(o.stderr, "damaged data: readings of run") {
				t.Errorf("report: exit %d: %s", o.code, o.stderr)
			}
			if list := m.mustRun("run", "list", "--json").stdout; !strings.Contains(list, "60.5") {
				t.Errorf("its result is not listed: %s", list)
			}
			return firstWords(o.stderr)
		},
	},
}

// flipped is a row that changes a byte of one of two runs in the data file.
func flipped(of string, in []byte, says string) attack {
	return attack{
		fault:    "8 a byte of " + of + " is flipped",
		expected: "list and analyses go on without it, name it and exit with 1; it cannot be changed; check names it",
		try: func(t *testing.T, m *machine) string {
			m.mustRun("import", m.write("runs.csv", "run,device,workload,setting_w,note,fps\nrun-0001,unit-oak,tile-sort-1,15,,60.5\nrun-0002,unit-oak,tile-sort-2,15,by the window,61.25\n"))
			m.flip(in)
			for _, args := range [][]string{{"run", "list", "--json"}, {"curve", "--json"}, {"export", "--as", "csv", "--out", m.path("out.csv")}} {
				o := m.run(args...)
				if o.code != 1 || !strings.Contains(o.stderr, "damaged data: "+says+" run-0002") || strings.Contains(o.stdout, "61.25") {
					t.Errorf("%s: exit %d: %s%s", args, o.code, o.stdout, o.stderr)
				}
				if args[0] == "run" && (!strings.Contains(o.stdout, "60.5") || !strings.Contains(o.stdout, "data_damaged")) {
					t.Errorf("listed: %s", o.stdout)
				}
			}
			if o := m.run("run", "keep", "run-0002", "--why", "it is well"); o.code != 1 || !strings.Contains(o.stderr, "damaged data") {
				t.Errorf("keep: exit %d: %s", o.code, o.stderr)
			}
			o := m.run("check")
			if o.code != 1 || !strings.Contains(o.stdout, "run-0002") || strings.Contains(o.stdout, "run-0001") {
				t.Errorf("check: exit %d: %s%s", o.code, o.stdout, o.stderr)
			}
			return firstWords(o.stdout)
		},
	}
}

// real is a number as SQLite stores it (https://sqlite.org/fileformat2.html#record_format).
func real(v float64) []byte { return binary.BigEndian.AppendUint64(nil, math.Float64bits(v)) }

// flip changes a byte of these wherever the data file has them: tables and their indexes.
func (m *machine) flip(in []byte) {
	m.t.Helper()
	data, err := os.ReadFile(m.database())
	if err != nil {
		m.t.Fatal(err)
	}
	other := bytes.Clone(in)
	other[len(in)/2] ^= 1
	if !bytes.Contains(data, in) {
		m.t.Fatalf("%q is not in the data file", in)
	}
	data = bytes.ReplaceAll(data, in, other)
	if err := os.WriteFile(m.database(), data, 0o644); err != nil {
		m.t.Fatal(err)
	}
}
