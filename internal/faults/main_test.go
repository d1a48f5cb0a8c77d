package main

import (
	"bytes"
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// field is a module of one package to plant faults in: one function is tested,
// one is not, one ends a loop that a fault would not.
const field = `package field

// Larger is tested.
func Larger(a, b int) int {
	if a > b {
		return a
	} else {
		return b
	}
}

// Half is not.
func Half(a int) int { return a / 2 }

// Steps ends only because of its condition.
func Steps(n int) int {
	i := 0
	for i < n {
		i++
	}
	return i
}
`

const fieldTest = `package field

import (
	"os"
	"testing"
)

// Property tests write what failed into their folder, unless they are told not to.
func TestMain(m *testing.M) {
	code := m.Run()
	if code != 0 && os.Getenv("RAPID_NOFAILFILE") == "" {
		os.WriteFile("failed.txt", nil, 0o666)
	}
	os.Exit(code)
}

func TestLarger(t *testing.T) {
	for _, c := range [][3]int{{1, 2, 2}, {2, 1, 2}, {-3, -4, -3}} {
		if got := Larger(c[0], c[1]); got != c[2] {
			t.Fatal(got)
		}
	}
}

func TestSteps(t *testing.T) {
	if Steps(3) != 3 || Steps(0) != 0 {
		t.Fatal()
	}
}
`

// newField writes the module.
func newField(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"go.mod": "module example.org/field\n\ngo 1.26\n", "field.go": field, "field_test.go": fieldTest,
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// contents is every file below a folder with its text.
func contents(t *testing.T, dir string) string {
	t.Helper()
	var all strings.Builder
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		all.WriteString(path + "\n" + string(text))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all.String()
}

func plantIn(t *testing.T, args ...string) (stdout, stderr string, err error) {
	t.Helper()
	var out, problems bytes.Buffer
	err = run(context.Background(), args, &out, &problems)
	return out.String(), problems.String(), err
}

// All faults of a small package: those in the tested function are noticed, those
// in the other are listed, and the checkout stays as it is.
func TestRun(t *testing.T) {
	dir := newField(t)
	before := contents(t, dir)
	log := filepath.Join(t.TempDir(), "faults.jsonl")
	args := []string{"--dir", dir, "--per-package", "1000", "--grace", "1s", "--out", log}
	out, progress, err := plantIn(t, args...)
	if err == nil || !strings.Contains(err.Error(), "90 % are wanted") {
		t.Errorf("half of the code has no test: error %v, want one that says so\n%s", err, out)
	}
	if got := contents(t, dir); got != before {
		t.Errorf("the checkout was changed:\n%s", got)
	}
	for _, want := range []string{
		"field.go:13: func Half(a int) int { return a / 2 } -> func Half(a int) int { return -(a / 2) }  (unary, Half)",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("the survivors lack %q:\n%s", want, out)
		}
	}
	records, err := readRecords(log)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, r := range records {
		seen[r.Outcome] = true
		switch {
		case r.Outcome == notCompiled:
		case r.Function == "Half" && r.Outcome != survived:
			t.Errorf("%q is %s by %s, and has no test", r.After, r.Outcome, r.By)
		case r.Function == "Larger" && r.Outcome != caught && r.After != "if a >= b {":
			t.Errorf("%q is %s, and has a test", r.After, r.Outcome)
		case r.Outcome == caught && !strings.HasPrefix(r.By, "Test") && !strings.HasPrefix(r.By, "panic"):
			t.Errorf("%q is noticed by %q, want the test", r.After, r.By)
		case r.Function == "Steps" && r.Operator == "statement" && r.Before == "i++" && (r.Outcome != timedOut || r.By != "TestSteps"):
			t.Errorf("a loop without end is %s by %q, want timed out by TestSteps", r.Outcome, r.By)
		}
	}
	for _, outcome := range []string{caught, timedOut, survived, notCompiled} {
		if !seen[outcome] {
			t.Errorf("none is %s:\n%s", outcome, progress)
		}
	}

	// What is known is not tried again, and says the same.
	again, _, _ := plantIn(t, args...)
	if again != out {
		t.Errorf("the second time it says\n%s\nand at first\n%s", again, out)
	}
	if more, err := readRecords(log); err != nil || len(more) != len(records) {
		t.Errorf("%d faults are recorded after the second time (%v), %d after the first", len(more), err, len(records))
	}
}

// Tests that fail without a fault would notice everything.
func TestBrokenTestsAreNotCounted(t *testing.T) {
	for name, text := range map[string]string{
		"fail":           "package field\n\nimport \"testing\"\n\nfunc TestNo(t *testing.T) { t.Fatal() }\n",
		"do not compile": "package field\n\nvar _ = missing\n",
	} {
		dir := newField(t)
		if err := os.WriteFile(filepath.Join(dir, "broken_test.go"), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		_, _, err := plantIn(t, "--dir", dir)
		if err == nil || !strings.Contains(err.Error(), name+" without a fault") {
			t.Errorf("error %v, want one that says that the tests %s without a fault", err, name)
		}
	}
}

// What is written to the package meanwhile would make its records wrong.
func TestTestsThatChangeTheirPackage(t *testing.T) {
	dir := newField(t)
	const writes = "package field\n\nimport (\n\"os\"\n\"testing\"\n)\n\nfunc TestWrites(t *testing.T) {\nos.Mkdir(\"testdata\", 0o777)\nos.WriteFile(\"testdata/new\", nil, 0o666)\n}\n"
	if err := os.WriteFile(filepath.Join(dir, "writes_test.go"), []byte(writes), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, _, err := plantIn(t, "--dir", dir); err == nil || !strings.Contains(err.Error(), "changed meanwhile") {
		t.Errorf("error %v, want one that says that files changed", err)
	}
}

// What nobody tests is not passed over.
func TestPackagesWithoutTests(t *testing.T) {
	dir := newField(t)
	if err := os.Remove(filepath.Join(dir, "field_test.go")); err != nil {
		t.Fatal(err)
	}
	if _, _, err := plantIn(t, "--dir", dir); err == nil || !strings.Contains(err.Error(), "has code and no tests") {
		t.Errorf("error %v, want one that says that there are no tests", err)
	}
}

func TestCommandLine(t *testing.T) {
	for _, args := range [][]string{{"--sede", "1"}, {"frames"}} {
		if _, _, err := plantIn(t, args...); err != errUsage {
			t.Errorf("%v: error %v, want %v", args, err, errUsage)
		}
	}
	if _, _, err := plantIn(t, "--dir", newField(t), "--packages", "nowhere"); err == nil || !strings.Contains(err.Error(), `no package "nowhere"`) {
		t.Errorf("an unknown package: error %v", err)
	}
	out, _, err := plantIn(t, "--dir", newField(t), "--list")
	if err != nil || !strings.Contains(out, "relational") || len(strings.Split(strings.TrimSpace(out), "\n")) != 2 {
		t.Errorf("--list says (%v)\n%s", err, out)
	}
}
