package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// trials compiles and tests faults one after the other.
type trials struct {
	root  string
	dir   string // of everything written
	log   *trialLog
	known []equivalent
	say   io.Writer
	grace time.Duration
	state map[*goPackage]*health
	tried []record
}

// health is a package without a fault.
type health struct {
	code, tests string
	clean       map[bool]*cleanTests // by whether they are compiled for the race detector
}

// check fails if the package is no longer as it was.
func (h *health) check(p *goPackage) error {
	code, err := p.code()
	if err != nil {
		return err
	}
	tests, err := p.tests()
	if err == nil && (code != h.code || tests != h.tests) {
		err = fmt.Errorf("the files in %s changed meanwhile: see what did that, and start again", p.Dir)
	}
	return err
}

// cleanTests are the compiled tests of a package without a fault.
type cleanTests struct {
	binary string
	limit  time.Duration // that tests with a fault may take
}

func newTrials(root string, log *trialLog, known []equivalent, grace time.Duration, say io.Writer) (*trials, error) {
	dir, err := os.MkdirTemp("", "faults")
	if err != nil {
		return nil, err
	}
	// Tests may give up their rights and still need what lies in the folder.
	if err := os.Chmod(dir, 0o755); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	return &trials{root: root, dir: dir, log: log, known: known, grace: grace, say: say, state: map[*goPackage]*health{}}, nil
}

// Close removes what was written.
func (t *trials) Close() error { return os.RemoveAll(t.dir) }

// try tries one fault, or recalls what became of it, and tells whether it counts.
func (t *trials) try(ctx context.Context, seed uint64, p *goPackage, x fault) (bool, error) {
	h, err := t.healthOf(p)
	if err != nil {
		return false, err
	}
	r, done := t.log.find(x, h.code, h.tests)
	if !done {
		if r, err = t.test(ctx, p, h, x); err != nil {
			return false, fmt.Errorf("%s:%d: %s -> %s: %w", x.File, x.Line, x.Before, x.After, err)
		}
		r.Seed = seed
		if err := t.log.add(r); err != nil {
			return false, err
		}
	}
	r.fault = x
	r.why = argument(t.known, x)
	t.tried = append(t.tried, r)
	fmt.Fprintf(t.say, "%d  %s:%d %s: %s %s (%.1f s)\n", len(t.tried), x.File, x.Line, x.Operator, r.Outcome, r.By, r.Seconds)
	return r.counts(), nil
}

// healthOf is what is known of a package without a fault.
func (t *trials) healthOf(p *goPackage) (*health, error) {
	if h := t.state[p]; h != nil {
		return h, nil
	}
	code, err := p.code()
	if err != nil {
		return nil, err
	}
	tests, err := p.tests()
	if err != nil {
		return nil, err
	}
	t.state[p] = &health{code: code, tests: tests, clean: map[bool]*cleanTests{}}
	return t.state[p], nil
}

// cleanLimit is how long the tests of a package without a fault may take.
const cleanLimit = 10 * time.Minute

// cleanOf compiles the tests of a package without a fault, once, and sees how long
// they take.
func (t *trials) cleanOf(ctx context.Context, p *goPackage, h *health, race bool) (*cleanTests, error) {
	if c := h.clean[race]; c != nil {
		return c, nil
	}
	c := &cleanTests{binary: filepath.Join(t.dir, fmt.Sprintf("clean-%s-%v.test", strings.ReplaceAll(p.path, "/", "-"), race))}
	complaint, err := t.compile(ctx, p, "", race, c.binary)
	if err != nil {
		return nil, err
	}
	if complaint != "" {
		return nil, fmt.Errorf("the tests of %s do not compile without a fault: %s", p.path, complaint)
	}
	h.clean[race] = c
	return c, t.time(ctx, p, c)
}

// time sees how long the tests of a package take without a fault, and lets those
// with one take three times as long and the grace.
func (t *trials) time(ctx context.Context, p *goPackage, c *cleanTests) error {
	start := time.Now()
	outcome, by, err := t.execute(ctx, p, "", c.binary, cleanLimit)
	if err != nil {
		return err
	}
	if outcome != survived {
		return fmt.Errorf("the tests of %s fail without a fault (%s): repair them first", p.path, by)
	}
	c.limit = 3*time.Since(start) + t.grace
	fmt.Fprintf(t.say, "%s passes without a fault in %.1f s\n", p.path, time.Since(start).Seconds())
	return nil
}

// test plants one fault and runs the package's tests. A lock that is not taken
// is noticed by the race detector if at all, which `make test` uses as well.
func (t *trials) test(ctx context.Context, p *goPackage, h *health, x fault) (record, error) {
	race := x.Operator == "lock"
	r := record{Package: p.path, fault: x, Code: h.code, Tests: h.tests}
	clean, err := t.cleanOf(ctx, p, h, race)
	if err != nil {
		return r, err
	}
	overlay, err := t.overlay(x)
	if err != nil {
		return r, err
	}
	start := time.Now()
	binary := filepath.Join(t.dir, "fault.test")
	r.By, err = t.compile(ctx, p, overlay, race, binary)
	switch {
	case err != nil:
		return r, err
	case r.By != "":
		r.Outcome = notCompiled
	default:
		if r.Outcome, r.By, err = t.executePatiently(ctx, p, overlay, binary, clean); err == nil {
			err = h.check(p)
		}
	}
	r.Seconds = float64(time.Since(start).Milliseconds()) / 1000
	return r, err
}

// executePatiently runs compiled tests, and again if time was up only because the
// machine is busier than it was.
func (t *trials) executePatiently(ctx context.Context, p *goPackage, overlay, binary string, clean *cleanTests) (outcome, by string, err error) {
	for {
		limit := clean.limit
		if outcome, by, err = t.execute(ctx, p, overlay, binary, limit); err != nil || outcome != timedOut {
			return outcome, by, err
		}
		if err := t.time(ctx, p, clean); err != nil || clean.limit <= 2*limit {
			clean.limit = max(clean.limit, limit)
			return outcome, by, err
		}
	}
}

// overlay writes the file with the fault beside the checkout, and the file that
// tells the go command to compile it instead.
func (t *trials) overlay(x fault) (string, error) {
	changed := filepath.Join(t.dir, "fault.go")
	if err := os.WriteFile(changed, x.changed(), 0o666); err != nil {
		return "", err
	}
	text, err := json.Marshal(map[string]map[string]string{"Replace": {x.path: changed}})
	if err != nil {
		return "", err
	}
	path := filepath.Join(t.dir, "overlay.json")
	return path, os.WriteFile(path, text, 0o666)
}

// compile builds a package's tests, and gives the first complaint of the
// compiler, "" if it has none. Without an overlay there is no fault.
func (t *trials) compile(ctx context.Context, p *goPackage, overlay string, race bool, binary string) (complaint string, err error) {
	args := []string{"test", "-c", "-ldflags=-s -w", "-o", binary} // as without -c: nobody debugs it
	if overlay != "" {
		args = append(args, "-overlay", overlay)
	}
	if race {
		args = append(args, "-race")
	}
	cmd := exec.CommandContext(ctx, "go", append(args, p.ImportPath)...)
	cmd.Dir = t.root
	out, err := cmd.CombinedOutput()
	if failed := (*exec.ExitError)(nil); errors.As(err, &failed) && ctx.Err() == nil {
		for line := range strings.Lines(string(out)) {
			if !strings.HasPrefix(line, "#") {
				return strings.TrimSpace(strings.ReplaceAll(line, t.dir+string(filepath.Separator), "")), nil
			}
		}
		return "the go command: " + failed.Error(), nil
	}
	return "", errors.Join(err, ctx.Err())
}

// ofRapid has the library of property tests draw the same examples for every
// fault, spend no time on making a failing one small, and not write it into the
// checkout.
var ofRapid = []string{"RAPID_SEED=1", "RAPID_SHRINKTIME=0s", "RAPID_NOFAILFILE=true"}

// execute runs compiled tests. Programs that they build have the fault as well,
// and what they leave behind is removed.
func (t *trials) execute(ctx context.Context, p *goPackage, overlay, binary string, limit time.Duration) (outcome, by string, err error) {
	temp := filepath.Join(t.dir, "t")
	if err := errors.Join(os.Mkdir(temp, 0o777), os.Chmod(temp, 0o777)); err != nil { // whatever the umask
		return "", "", err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(temp)) }()
	patience, cancel := context.WithTimeout(ctx, limit+10*time.Second)
	defer cancel()
	cmd := exec.Command(binary, "-test.short", "-test.failfast", "-test.count=1", "-test.paniconexit0", "-test.timeout="+limit.String())
	cmd.Dir = p.Dir
	cmd.Env = slices.Concat(os.Environ(), ofRapid, []string{"TMPDIR=" + temp, "PWD=" + p.Dir})
	if overlay != "" {
		cmd.Env = append(cmd.Env, strings.TrimSpace("GOFLAGS="+os.Getenv("GOFLAGS")+" -overlay="+overlay))
	}
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	problem := runGroup(patience, cmd)
	switch {
	case ctx.Err() != nil:
		return "", "", ctx.Err()
	case problem == nil:
		return survived, "", nil
	case patience.Err() != nil || errors.Is(problem, errTooLarge) || bytes.Contains(out.Bytes(), []byte("panic: test timed out after")):
		return timedOut, lastRunning(out.String()), nil
	}
	if failed := (*exec.ExitError)(nil); !errors.As(problem, &failed) {
		return "", "", problem
	}
	return caught, firstFailure(out.String()), nil
}

// errTooLarge is returned when a test's memory grew without end.
var errTooLarge = errors.New("the tests took too much memory and were stopped")

var failure = regexp.MustCompile(`(?m)^\s*--- FAIL: (\S+)|^(panic: .*|fatal error: .*|WARNING: DATA RACE)`)

// firstFailure names the first test that failed, or the panic that ended it.
func firstFailure(out string) string {
	found := failure.FindStringSubmatch(out)
	if found == nil {
		return ""
	}
	return strings.Join(found[1:], "")
}

var running = regexp.MustCompile(`running tests:\s+(\S+)`)

// lastRunning names the test that ran when time was up, if the tests could still
// say so.
func lastRunning(out string) string {
	if found := running.FindStringSubmatch(out); found != nil {
		return found[1]
	}
	return ""
}
