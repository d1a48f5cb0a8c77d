package layering

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// allowed lists for each package of ours what it may import of ours.
var allowed = map[string][]string{
	"run":        {},
	"collectors": {"run"},
	"analysis":   {"run"},
	"frames":     {},
	"judge":      {"run", "analysis"},
	"agent":      {"run", "collectors", "judge"},
	"schedule":   {"run", "analysis"},
	"store":      {"run", "schedule"},
	"report":     {"run", "analysis", "frames"},
	"exporter":   {"run", "agent", "store", "analysis", "collectors"},
	"testday":    {"run", "collectors", "frames", "analysis", "judge", "agent", "schedule", "store", "report", "exporter"},
	"console":    {"run", "store", "testday"},
	"cmd":        {"run", "collectors", "analysis", "judge", "agent", "schedule", "store", "store/sqlite", "report", "exporter", "testday", "console", "deploy", "frames"},
	"deploy":     {},

	"store/sqlite":   {"run", "schedule", "store"},
	"store/contract": {"run", "schedule", "store"},
}

// reasons says for each arrow that is missing why it is.
var reasons = map[[2]string]string{
	{"collectors", "agent"}:            "a source of readings knows nothing of runs, so that it can serve any",
	{"collectors", "analysis"}:         "reading a sensor needs no statistics",
	{"frames", "agent"}:                "frame times are plain numbers from a file, whatever run they belong to",
	{"frames", "analysis"}:             "quantiles of millions of frames have nothing to do with the comparison of runs",
	{"agent", "frames"}:                "the agent is handed results, wherever they are from",
	{"analysis", "agent"}:              "the analysis takes plain values, so that it can be checked against published ones",
	{"analysis", "store"}:              "pure functions: no I/O",
	{"analysis", "collectors"}:         "the analysis knows runs, not sensors",
	{"judge", "agent"}:                 "a run is judged from its record and trace alone, now or after a restart",
	{"judge", "collectors"}:            "a trace says what its sensors are",
	{"judge", "store"}:                 "pure: whoever has a trace hands it in",
	{"agent", "analysis"}:              "statistics are the judge's",
	{"agent", "store"}:                 "the agent declares what it records to; the store meets it",
	{"agent", "exporter"}:              "the agent does not know who looks at it",
	{"agent", "schedule"}:              "the schedule asks the agent for runs, never the other way",
	{"agent", "console"}:               "the agent does not know who commands it",
	{"schedule", "collectors"}:         "the schedule asks for a run and never touches a collector",
	{"schedule", "store"}:              "plans are plain values; the store keeps them",
	{"report", "store"}:                "the report draws what it is handed, so that it can be drawn from anything",
	{"report", "agent"}:                "the report draws plain series and results",
	{"report", "collectors"}:           "the report knows no sensors, only series with names and units",
	{"exporter", "console"}:            "what leaves the machine does not depend on who looks at it here",
	{"exporter", "report"}:             "exports are data, not pictures",
	{"exporter", "schedule"}:           "metrics follow the agent; the plan is not a metric",
	{"store", "exporter"}:              "data flows from the store to the exporter",
	{"store", "console"}:               "data flows from the store to the console",
	{"store", "report"}:                "rows know nothing of charts",
	{"store", "agent"}:                 "the agent declares what it records to, in words of run",
	{"store", "store/sqlite"}:          "what a store does is said without saying how",
	{"console", "store/sqlite"}:        "whatever store it is; cmd opens it",
	{"exporter", "store/sqlite"}:       "whatever store it is; cmd opens it",
	{"store/sqlite", "agent"}:          "the agent declares what it records to, in words of run",
	{"store/sqlite", "store/contract"}: "tests are no part of the program",
	{"cmd", "store/contract"}:          "tests are no part of the program",
	{"store", "testday"}:               "a test day is done with the store, which knows only runs and plans",
	{"agent", "testday"}:               "the agent records; it does not know what a test day is",
	{"exporter", "testday"}:            "what leaves the machine does not depend on who asks for it",
	{"report", "testday"}:              "the report draws what it is handed, whoever gathered it",
	{"testday", "store/sqlite"}:        "whatever store it is; cmd opens it",
	{"testday", "console"}:             "what a person does is the same by command, by page and by the API",
	{"console", "agent"}:               "requests are about a test day; what they do with the agent is written there once",
	{"console", "collectors"}:          "the API shows what testday says of sensors",
	{"console", "exporter"}:            "the scrape handler is handed in, so that the API works without it",
}

// demoAlone are the packages under internal that the program itself may hold,
// for its demonstration; all others are for tests.
var demoAlone = []string{"internal/simdevice", "internal/simlab"}

type goPackage struct {
	ImportPath string
	Name, Doc  string
	Imports    []string
	Deps       []string
}

func list(t *testing.T, args ...string) []goPackage {
	t.Helper()
	cmd := exec.Command("go", append([]string{"list", "-json"}, args...)...)
	cmd.Dir = "../.."
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var list []goPackage
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return list
		} else if err != nil {
			t.Fatal(err)
		}
		list = append(list, p)
	}
}

// ours is the part of an import path below the module, "" for foreign ones.
func ours(path string) string {
	rest, found := strings.CutPrefix(path, "sweepd/")
	if !found {
		return ""
	}
	return rest
}

// layer is the part of a path that has a rule of its own, else its first folder.
func layer(path string) string {
	for {
		if _, ruled := allowed[path]; ruled {
			return path
		}
		last := strings.LastIndexByte(path, '/')
		if last < 0 {
			return path
		}
		path = path[:last]
	}
}

func TestArrows(t *testing.T) {
	for _, p := range list(t, "./...") {
		from := ours(p.ImportPath)
		if layer(from) == "internal" {
			continue
		}
		for _, imported := range p.Imports {
			to := ours(imported)
			if to == "" || layer(to) == layer(from) || slices.Contains(demoAlone, to) && layer(from) == "cmd" {
				continue
			}
			if slices.Contains(allowed[layer(from)], layer(to)) {
				continue
			}
			why := reasons[[2]string{layer(from), layer(to)}]
			if why == "" {
				why = "no arrow leads there in the design; nothing imports cmd, and internal is for tests"
			}
			t.Errorf("%s imports %s: %s", from, to, why)
		}
	}
}

// Every arrow that the table of allowed ones leaves out between two packages
// with a rule has its reason, and no reason contradicts the table.
func TestEveryReasonIsAboutAMissingArrow(t *testing.T) {
	for arrow := range reasons {
		if slices.Contains(allowed[arrow[0]], arrow[1]) {
			t.Errorf("%s -> %s is allowed and forbidden", arrow[0], arrow[1])
		}
	}
}

func TestEveryPackageSaysWhatItIs(t *testing.T) {
	for _, p := range list(t, "./...") {
		if p.Doc == "" {
			t.Errorf("%s has no package comment", p.ImportPath)
		}
	}
}

// What ships holds no test code.
func TestNoTestingInTheProgram(t *testing.T) {
	for _, p := range list(t, "./cmd/sweepd") {
		if slices.Contains(p.Deps, "testing") {
			t.Error("cmd/sweepd depends on testing")
		}
	}
}

// Only store/sqlite speaks SQL.
func TestOnlyTheStoreSpeaksSQL(t *testing.T) {
	for _, p := range list(t, "./...") {
		for _, imported := range p.Imports {
			if (imported == "database/sql" || strings.HasPrefix(imported, "modernc.org/sqlite")) && ours(p.ImportPath) != "store/sqlite" {
				t.Errorf("%s imports %s: store/sqlite is the only package that speaks SQL", p.ImportPath, imported)
			}
		}
	}
}
