package attacks

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	_ "modernc.org/sqlite"
)

// hostile clears a terminal, and turns the rest of a line around.
const hostile = "tile\x1b[2J\u202esort\u2066\u009b"

// raw finds a character that a terminal or a page acts on, with its place; "" where
// there is none.
func raw(text string) string {
	for i, r := range text {
		if r != '\n' && r != '\t' && (unicode.IsControl(r) || unicode.In(r, unicode.Bidi_Control, unicode.Zl, unicode.Zp)) {
			return strings.ToValidUTF8(text[max(0, i-40):min(len(text), i+40)], "")
		}
	}
	return ""
}

// shownSafely fails the test where an output has a character that acts.
func shownSafely(t *testing.T, what, text string) {
	t.Helper()
	if found := raw(text); found != "" {
		t.Errorf("%s: raw in %q", what, found)
	}
}

// refused runs a command that must fail with a word about why, and nothing raw.
func (m *machine) refused(says string, args ...string) {
	m.t.Helper()
	o := m.run(args...)
	if o.code < 1 || !strings.Contains(o.stderr, says) {
		m.t.Errorf("%q: exit %d, %s; want a refusal that says %q", args, o.code, o.stderr, says)
	}
	shownSafely(m.t, strings.Join(args, " "), o.stdout+o.stderr)
}

// post gives the answer of the agent's API.
func (a *agent) post(path, body string) (status int, answer string) {
	a.m.t.Helper()
	r, err := http.Post(a.url+path, "application/json", strings.NewReader(body))
	if err != nil {
		a.m.t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil {
		a.m.t.Fatal(err)
	}
	return r.StatusCode, string(text)
}

const dayHead = "device,workload,setting_w,note,fps\n"

// words are texts that act where they are shown.
var words = []attack{{
	fault:    "17 ESC, NUL and characters that turn the direction of text in labels, units and notes: flags, API, import",
	expected: "each is refused with a sentence, and shown escaped there",
	try: func(t *testing.T, m *machine) string {
		a := m.agent()
		const says = "control characters"
		m.refused(says, "run", "start", "--workload", hostile)
		m.refused(says, "run", "start", "--workload", "tile-sort", "--note", hostile)
		m.refused(says, "run", "start", "--workload", "tile-sort", "--setting", hostile)
		m.refused(says, "run", "start", "--workload", "tile-sort", "--variant", "pack="+hostile)
		m.refused(says, "import", m.write("note.csv", dayHead+"unit-oak,tile-sort,15,"+hostile+",60\n"))
		m.refused(says, "import", m.write("label.csv", dayHead+"unit-oak,"+hostile+",15,,60\n"))
		m.refused(says, "import", m.write("head.csv", "device,workload,"+hostile+"\nunit-oak,tile-sort,5\n"))
		m.mustRun("run", "start", "--workload", "tile-sort", "--setting", "15W")
		m.refused("is not a number", "run", "stop", "--result", "fps=60f\x1b[31mps")
		for _, body := range []string{`{"note":"a\u0000b"}`, `{"note":"a\u202eb"}`, `{"results":{"fps":{"value":1,"unit":"\u001b[31m"}}}`, `{"results":{"\u202efps":{"value":1}}}`} {
			if status, answer := a.post("/api/v1/runs/stop", body); status != http.StatusBadRequest || raw(answer) != "" {
				t.Errorf("%s is answered %d %q", body, status, answer)
			}
		}
		return "each is refused with a sentence"
	},
}, {
	fault:    "17 ESC and U+202E in the name of a file and in its header, in errors",
	expected: "they are shown escaped",
	try: func(t *testing.T, m *machine) string {
		m.refused(`\u001b[2J\u202e`, "import", m.path(hostile+".csv"))
		m.refused(`\u001b[2J\u202e`, "import", m.write(hostile+".csv", "device,score\nunit-oak,5\n"))
		m.refused(`\u001b[2J\u202e`, "--config", m.path(hostile), "run", "list")
		m.refused("unknown command", hostile)
		frames := m.write("frames.csv", hostile+",frame_ms\n1,16.7\n")
		m.mustRun("import", m.write("day.csv", dayHead+"unit-oak,tile-sort,15,,60\n"))
		o := m.run("run", "result", "last", "--frames", frames, "--frame-column", "nothing")
		shownSafely(t, "frames", o.stdout+o.stderr)
		return "they are shown escaped"
	},
}, {
	fault:    "17 a data file of old in which every text has ESC and U+202E: lists, JSON, CSV, API, metrics, report, merge",
	expected: "it opens, and shows them escaped; merge leaves them out",
	try: func(t *testing.T, m *machine) string {
		if err := os.Mkdir(m.data, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := m.copy("../../store/sqlite/testdata/version1.db", m.database()); err != nil {
			t.Fatal(err)
		}
		db, err := sql.Open("sqlite", m.database())
		if err != nil {
			t.Fatal(err)
		}
		for _, change := range []string{"UPDATE runs SET workload = ?1, note = ?1, why = ?1, variant = 'pack=' || ?1", "UPDATE results SET name = 'fps' || ?1, unit = ?1"} {
			if _, err := db.Exec(change, hostile); err != nil {
				t.Fatal(err)
			}
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		var list []struct {
			ID       string
			Workload string
		}
		if err := json.Unmarshal([]byte(m.mustRun("run", "list", "--json").stdout), &list); err != nil || len(list) == 0 || list[0].Workload != hostile {
			t.Errorf("the list is %+v, %v", list, err)
		}
		a := m.agent()
		for _, args := range [][]string{{"run", "list"}, {"run", "list", "--json"}, {"run", "show", list[0].ID}, {"run", "show", list[0].ID, "--json"}, {"curve"}, {"compare", "--by", "supply"},
			{"export", "--as", "csv", "--out", "-"}, {"export", "--as", "csv", "--plain", "--out", "-"}, {"export", "--as", "json", "--out", "-"}, {"report", "--out", m.path("report")}} {
			o := m.run(args...)
			shownSafely(t, strings.Join(args, " "), o.stdout+o.stderr)
		}
		for _, path := range []string{"/api/v1/runs", "/metrics"} {
			shownSafely(t, path, a.get(path))
		}
		page, err := os.ReadFile(m.path("report/report.html"))
		if err != nil {
			t.Fatal(err)
		}
		shownSafely(t, "the report", string(page))
		shownSafely(t, "the log", a.log.String())
		o := m.run("--data", m.path("other"), "merge", m.database())
		shownSafely(t, "merge", o.stdout+o.stderr)
		if taken := m.run("--data", m.path("other"), "run", "list", "--json").stdout; strings.Contains(taken, `"id"`) {
			t.Errorf("merge took %s\nand said %s", taken, o.stdout+o.stderr)
		}
		return "it opens, shows them escaped, and merge leaves them out"
	},
}, {
	fault:    "17 ESC and U+202E in the name that a driver gives a sensor, in the firmware's texts and from the setting command: sensors, log, metrics, a run",
	expected: "nothing of them acts: what names a sensor loses them, the rest is shown escaped",
	try: func(t *testing.T, m *machine) string {
		d := m.device()
		labels, err := filepath.Glob(filepath.Join(m.path("device"), "sys/class/hwmon/hwmon*/temp1_label"))
		names, err2 := filepath.Glob(filepath.Join(m.path("device"), "sys/class/dmi/id/product_name"))
		if err != nil || err2 != nil || len(labels) == 0 || len(names) == 0 {
			t.Fatalf("%d names of sensors, %d of the device under %v: %v, %v", len(labels), len(names), d.Environ(), err, err2)
		}
		for _, file := range append(labels, names...) {
			if err := os.Remove(file); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, []byte(hostile+"\n"), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		a := m.agent("--config", m.write("sweepd.yaml", "setting_command: [/bin/sh, -c, \"printf '25W \\\\033[2J'; echo \\\\342\\\\200\\\\256 >&2; exit 3\"]\n"))
		var sensors string
		m.eventually("the sensors are read", func() bool {
			sensors = a.get("/api/v1/sensors")
			return strings.Contains(sensors, `tile[2Jsort`)
		})
		m.mustRun("run", "start", "--workload", "tile-sort", "--setting", "15W")
		m.mustRun("run", "stop", "--result", "fps=60fps")
		for what, args := range map[string][]string{"sensors": {"sensors"}, "the run": {"run", "show", "last"}, "the setting": {"setting"}, "the export": {"export", "--as", "json", "--out", "-"}} {
			o := m.run(args...)
			shownSafely(t, what, o.stdout+o.stderr)
		}
		shownSafely(t, "sensors as JSON", sensors)
		m.mustRun("report", "--out", m.path("report"))
		page, err := os.ReadFile(m.path("report/report.html"))
		if err != nil {
			t.Fatal(err)
		}
		shownSafely(t, "the report", string(page))
		shownSafely(t, "/metrics", a.get("/metrics"))
		shownSafely(t, "the log", a.log.String())
		return "nothing of them acts"
	},
}, {
	fault:    "17 texts that a spreadsheet takes for formulas, and lines ended as elsewhere, through export and import",
	expected: "no cell begins a formula, import gives the same texts, --plain writes them as they are",
	try: func(t *testing.T, m *machine) string {
		m.agent()
		m.mustRun("run", "start", "--workload", "=cmd|' /C calc'!A0", "--setting", "@quiet", "--variant", "+pack=1", "--note", "-1+1\r\n=2\rend ")
		m.mustRun("run", "stop", "--result", "+fps_delta=-5fps", "--result", "a;b=1s", "--lower", "a;b")
		const file, again, plain = "day.csv", "again.csv", "plain.csv"
		m.mustRun("export", "--as", "csv", "--out", m.path(file))
		m.mustRun("export", "--as", "csv", "--plain", "--out", m.path(plain))
		m.mustRun("--data", m.path("other"), "import", m.path(file))
		m.mustRun("--data", m.path("other"), "export", "--as", "csv", "--out", m.path(again))
		read := func(name string) []byte {
			text, err := os.ReadFile(m.path(name))
			if err != nil {
				t.Fatal(err)
			}
			return text
		}
		if a, b := read(file), read(again); !bytes.Equal(a, b) {
			t.Errorf("exported:\n%sand after an import:\n%s", a, b)
		}
		for _, want := range []string{",'=cmd|' /C calc'!A0,", ",'@quiet,", ",'+pack=1,", "\"'-1+1\n=2\nend\"", ",'+fps", ",-5,"} {
			if !bytes.Contains(read(file), []byte(want)) {
				t.Errorf("no %q in %s", want, read(file))
			}
		}
		for _, want := range []string{",=cmd|' /C calc'!A0,", ",@quiet,", ",+pack=1,", ",+fps"} {
			if !bytes.Contains(read(plain), []byte(want)) {
				t.Errorf("no %q in %s", want, read(plain))
			}
		}
		return "no cell begins a formula, and nothing is lost"
	},
}, {
	fault:    "17 a note of 4001 bytes at a start and at a stop, by the API",
	expected: "400 with the limit, no run is started, and the run that was to be stopped has ended",
	try: func(t *testing.T, m *machine) string {
		a := m.agent()
		note := `"note":"` + strings.Repeat("x", 4001) + `"}`
		for path, body := range map[string]string{"/api/v1/runs/start": `{"workload":"tile-sort",` + note, "/api/v1/runs/stop": `{` + note} {
			if path == "/api/v1/runs/stop" {
				m.mustRun("run", "start", "--workload", "tile-sort", "--setting", "15W")
			}
			if status, answer := a.post(path, body); status != http.StatusBadRequest || !strings.Contains(answer, "at most 4000") {
				t.Errorf("%s: %d %s", path, status, answer)
			}
		}
		m.mustRun("run", "result", "last", "fps=60")
		return "400 with the limit, no run is started, and the run that was to be stopped has ended"
	},
}}
