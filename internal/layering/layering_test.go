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

// allowed lists for each package of ours what it may import of ours. Sub-packages
// count by themselves.
var allowed = map[string][]string{
	"run":             {},
	"collectors":      {"internal/alarm", "run"},
	"actuators":       {"internal/ownfile", "run"},
	"frames":          {},
	"meter":           {"internal/bounded", "run"},
	"analysis":        {"run"},
	"judge":           {"run", "analysis"},
	"agent":           {"internal/alarm", "run", "collectors", "judge"},
	"schedule":        {"run", "analysis", "internal/bounded"},
	"store":           {"run", "schedule"},
	"store/sqlite":    {"run", "schedule", "store", "internal/userfile"},
	"store/journal":   {"internal/ownfile", "run"},
	"store/contract":  {"run", "schedule", "store"},
	"report/chart":    {"run"}, // for run.Visible alone
	"report/sentence": {"run", "analysis"},
	"report/table":    {"run", "analysis", "report/sentence"},
	"report/text":     {"run", "analysis", "report/sentence", "report/table"},
	"report":          {"internal/userfile", "run", "analysis", "frames", "report/chart", "report/sentence", "report/table"},
	"exporter":        {"run", "agent", "collectors", "analysis", "store", "internal/bounded"},
	"testday":         {"internal/bounded", "internal/ownfile", "internal/userfile", "run", "actuators", "collectors", "frames", "meter", "analysis", "judge", "agent", "schedule", "store", "report", "report/sentence", "exporter"},
	"console":         {"internal/userfile", "run", "analysis", "schedule", "store", "report", "testday"},
	"cmd/sweepd": {"internal/bounded", "internal/userfile", "run", "actuators", "collectors", "frames", "analysis", "judge", "agent", "schedule", "store", "store/sqlite", "store/journal",
		"report", "report/sentence", "report/table", "report/text", "exporter", "testday", "console", "deploy"},
	"deploy":            {},
	"internal/alarm":    {},
	"internal/bounded":  {},
	"internal/ownfile":  {},
	"internal/userfile": {},
}

// inTests lists what the tests of a package may import besides what the package
// itself may, and besides the rigs under internal.
var inTests = map[string][]string{
	"agent":        {"store/sqlite"},                                   // a real store keeps what the tests record
	"store/sqlite": {"store/contract", "agent", "collectors", "judge"}, // the suite; an agent on a simulated device fills a real file
	"exporter":     {"store/sqlite", "store/contract"},
	"testday":      {"store/sqlite", "store/contract"},
	"console":      {"store/sqlite", "store/contract", "agent", "collectors"}, // the API answers for a real agent
}

// any stands for every package in reasons.
const any = "*"

// reasons says for each arrow that is missing why it is. What is said of two
// packages goes before what is said of one and any other.
var reasons = map[[2]string]string{
	{any, "cmd/sweepd"}:     "cmd builds the parts from an explicit list; nothing may need it",
	{any, "deploy"}:         "what is installed beside the program is no part of it",
	{"deploy", any}:         "the configuration that explains itself is text",
	{any, "console"}:        "whoever commands over HTTP or looks from a phone is known to nobody but cmd",
	{any, "store/contract"}: "the contract suite is for the tests of stores alone",
	{any, "store/sqlite"}:   "only cmd chooses which store there is; everybody else knows the interfaces in store",
	{any, "store/journal"}:  "the agent knows it by the interface it declares; cmd opens it",
	{any, "report/text"}:    "only cmd writes to a terminal",

	{"internal/alarm", any}:    "a timer rings for whoever set it",
	{any, "internal/alarm"}:    "only what runs all day has to wait without wake-ups",
	{"internal/bounded", any}:  "how much of a format is read is told apart from what it says",
	{any, "internal/bounded"}:  "only who reads a table or YAML bounds it",
	{"internal/ownfile", any}:  "a file is kept whatever is in it",
	{any, "internal/ownfile"}:  "only who keeps a file of its own beside the data makes one",
	{"internal/userfile", any}: "a file is opened whatever is in it",
	{any, "internal/userfile"}: "only who reads or writes what a person names touches files",

	{"run", any}:             "the words import nothing of ours, so that everything may use them",
	{"meter", any}:           "the log of a meter is times and watts, whatever run they belong to",
	{any, "meter"}:           "who keeps the readings of a meter has them as those of any sensor",
	{"frames", any}:          "frame times are plain numbers from a file, whatever run they belong to",
	{any, "frames"}:          "who makes results of frame times hands the results on",
	{"actuators", any}:       "what is set knows values and places alone, so that what it was can be put back by whoever finds it written down",
	{any, "actuators"}:       "only who does a plan by itself, and who builds it, sets anything",
	{"collectors", any}:      "a source of readings knows nothing of runs, so that it can serve any",
	{any, "collectors"}:      "sensors are known by their ids in run; who reads them is for the agent and for who builds it",
	{"analysis", any}:        "pure functions from runs to verdicts, without sensors, files or a clock, so that they can be checked against published values",
	{any, "judge"}:           "a run is judged once, where it ends; others read the record",
	{"judge", any}:           "a run and its trace in, its record out: pure, so that a run which a crash left is judged alike",
	{"agent", any}:           "the agent declares what it records to and publishes what happens; it does not know who keeps, plans, looks or commands",
	{any, "agent"}:           "a running agent is asked through an interface in the words of run",
	{"schedule", any}:        "plans are plain values, and the schedule asks for a run and never touches a sensor; the store keeps plans",
	{any, "schedule"}:        "the order of a test day is for who drives it and who keeps it",
	{"store", any}:           "what a store is asked for is said in words; who fills or reads it comes later in the flow",
	{"store/sqlite", any}:    "rows know nothing of sampling, statistics and pictures",
	{"store/journal", any}:   "what is kept until a store takes it is said in words",
	{"store/contract", any}:  "the suite knows what every store owes, and no implementation",
	{"exporter", any}:        "what leaves the machine is data: it knows no pictures, no plan and nobody who commands",
	{any, "exporter"}:        "what leaves the machine is the last step of the flow",
	{any, "testday"}:         "what a person does drives the parts; none of them knows of it",
	{"report/chart", any}:    "a chart draws series with names and units, whatever they mean",
	{any, "report/chart"}:    "charts belong to the report, which says what they mean",
	{"report/sentence", any}: "words about numbers need the numbers alone",
	{"report/table", any}:    "a table knows columns and cells, not who fills them",
	{"report/text", any}:     "the terminal shows tables and sentences; charts are for the page",
	{"report", any}:          "the report draws what it is handed, so that it can be drawn from a database alone",
	{any, "report"}:          "what is measured and kept knows nothing of how it is shown",
	{any, "report/sentence"}: "what is measured and kept knows nothing of the words it is shown in",
	{any, "report/table"}:    "what is measured and kept knows nothing of tables",
	{any, "store"}:           "data flows into the store from the agent and out of it to those who drive and export",
	{any, "analysis"}:        "reading sensors, sampling and keeping need no statistics",
	{"console", any}:         "HTTP in, HTTP out: what is done is done by testday",
	{"testday", any}:         "what a person does is told apart from who asks for it and how it is shown",
}

// reason says why one package may not import another, "" where nobody has said it.
func reason(from, to string) string {
	for _, arrow := range [][2]string{{from, to}, {from, any}, {any, to}} {
		if why := reasons[arrow]; why != "" {
			return why
		}
	}
	return ""
}

// demoAlone are the packages under internal that the program itself may hold,
// for its demonstration; all others are for tests.
var demoAlone = []string{"internal/simdevice", "internal/simlab"}

type goPackage struct {
	ImportPath                         string
	Name, Doc                          string
	Imports, TestImports, XTestImports []string
	Deps                               []string
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

// ours are the import paths below the module, without it.
func ours(paths ...string) []string {
	var list []string
	for _, path := range paths {
		if rest, found := strings.CutPrefix(path, "sweepd/"); found {
			list = append(list, rest)
		}
	}
	return list
}

// rig tells whether a package is one of those for tests and the demonstration: those
// under internal that have no rule.
func rig(path string) bool { return strings.HasPrefix(path, "internal/") && allowed[path] == nil }

func TestArrows(t *testing.T) {
	for _, p := range list(t, "./...") {
		from := ours(p.ImportPath)[0]
		if rig(from) {
			continue
		}
		if allowed[from] == nil {
			t.Errorf("package %s has no rule: say in allowed what it may import", from)
		}
		for _, to := range ours(p.Imports...) {
			if !slices.Contains(allowed[from], to) && !(from == "cmd/sweepd" && slices.Contains(demoAlone, to)) {
				t.Errorf("%s imports %s: %s", from, to, reason(from, to))
			}
		}
		tested := ours(slices.Concat(p.TestImports, p.XTestImports)...)
		for _, to := range inTests[from] {
			if !slices.Contains(tested, to) {
				t.Errorf("the tests of %s may import %s and do not: take it out of the table", from, to)
			}
		}
		for _, to := range tested {
			if to != from && !rig(to) && !slices.Contains(allowed[from], to) && !slices.Contains(inTests[from], to) {
				t.Errorf("the tests of %s import %s: %s", from, to, reason(from, to))
			}
		}
	}
}

// Every arrow that the table leaves out between two packages has its reason, no
// reason contradicts the table, and the table and the reasons speak of packages
// that exist.
func TestEveryMissingArrowHasAReason(t *testing.T) {
	exists := map[string]bool{any: true}
	for _, p := range list(t, "./...") {
		exists[ours(p.ImportPath)[0]] = true
	}
	for from := range allowed {
		for to := range allowed {
			if from != to && !slices.Contains(allowed[from], to) && reason(from, to) == "" {
				t.Errorf("%s may not import %s: say why", from, to)
			}
		}
		for _, path := range append(slices.Concat(allowed[from], inTests[from]), from) {
			if !exists[path] {
				t.Errorf("the table speaks of %s, which is no package", path)
			}
		}
	}
	for arrow := range reasons {
		if slices.Contains(allowed[arrow[0]], arrow[1]) {
			t.Errorf("%s -> %s is allowed and forbidden", arrow[0], arrow[1])
		}
		if !exists[arrow[0]] || !exists[arrow[1]] {
			t.Errorf("a reason speaks of %v, which are no packages", arrow)
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

// Only store/sqlite speaks SQL; tests may look into its files.
func TestOnlyTheStoreSpeaksSQL(t *testing.T) {
	for _, p := range list(t, "./...") {
		for _, imported := range p.Imports {
			if (imported == "database/sql" || strings.HasPrefix(imported, "modernc.org/sqlite")) && ours(p.ImportPath)[0] != "store/sqlite" {
				t.Errorf("%s imports %s: store/sqlite is the only package that speaks SQL", p.ImportPath, imported)
			}
		}
	}
}

// The analysis and the report run without what samples, and collectors alone can
// list what the device offers.
func TestWhatStandsAlone(t *testing.T) {
	for path, without := range map[string][]string{
		"./analysis":   {"sweepd/collectors", "sweepd/agent", "sweepd/store", "os/exec", "net/http"},
		"./report":     {"sweepd/collectors", "sweepd/agent", "sweepd/store", "os/exec"},
		"./collectors": {"sweepd/agent", "sweepd/analysis", "sweepd/store"},
		"./judge":      {"sweepd/collectors", "sweepd/agent", "sweepd/store"},
	} {
		for _, p := range list(t, path) {
			for _, dep := range without {
				if slices.Contains(p.Deps, dep) {
					t.Errorf("%s depends on %s", path, dep)
				}
			}
		}
	}
}
