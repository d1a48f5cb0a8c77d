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
	limit       map[bool]time.Duration // that its tests may take, by whether under the race detector
}

func newTrials(root string, log *trialLog, known []equivalent, grace time.Duration, say io.Writer) (*trials, error) {
	dir, err := os.MkdirTemp("", "faults")
	if err != nil {
		return nil, err
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
	t.state[p] = &health{code: code, tests: tests, limit: map[bool]time.Duration{}}
	return t.state[p], nil
}

// cleanLimit is how long the tests of a package without a fault may take.
const cleanLimit = 10 * time.Minute

// limitOf is how long the tests may take with a fault: three times as long as
// without one, and the grace.
func (t *trials) limitOf(ctx context.Context, p *goPackage, h *health, race bool) (time.Duration, error) {
	if limit, known := h.limit[race]; known {
		return limit, nil
	}
	binary := filepath.Join(t.dir, "clean.test")
	if complaint, err := t.compile(ctx, p, "", race, binary); err != nil || complaint != "" {
		return 0, errors.Join(err, fmt.Errorf("the tests of %s do not compile without a fault: %s", p.path, complaint))
	}
	start := time.Now()
	outcome, by, err := t.execute(ctx, p, "", binary, cleanLimit)
	if err != nil {
		return 0, err
	}
	if outcome != survived {
		return 0, fmt.Errorf("the tests of %s fail without a fault (%s): repair them first", p.path, by)
	}
	h.limit[race] = 3*time.Since(start) + t.grace
	fmt.Fprintf(t.say, "%s passes without a fault in %.1f s\n", p.path, time.Since(start).Seconds())
	return h.limit[race], nil
}

// test plants one fault and runs the package's tests. A lock that is not taken
// is noticed by the race detector if at all, which `make test` uses as well.
func (t *trials) test(ctx context.Context, p *goPackage, h *health, x fault) (record, error) {
	race := x.Operator == "lock"
	r := record{Package: p.path, fault: x, Code: h.code, Tests: h.tests}
	limit, err := t.limitOf(ctx, p, h, race)
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
	if err != nil {
		return r, err
	}
	if r.By != "" {
		r.Outcome = notCompiled
	} else {
		r.Outcome, r.By, err = t.execute(ctx, p, overlay, binary, limit)
	}
	r.Seconds = float64(time.Since(start).Milliseconds()) / 1000
	return r, err
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
	args := []string{"test", "-c", "-o", binary}
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

// execute runs compiled tests. Programs that they build have the fault as well,
// and what they leave behind is removed.
func (t *trials) execute(ctx context.Context, p *goPackage, overlay, binary string, limit time.Duration) (outcome, by string, err error) {
	temp := filepath.Join(t.dir, "t")
	if err := os.Mkdir(temp, 0o777); err != nil {
		return "", "", err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(temp)) }()
	patience, cancel := context.WithTimeout(ctx, limit+10*time.Second)
	defer cancel()
	cmd := exec.Command(binary, "-test.short", "-test.failfast", "-test.count=1", "-test.paniconexit0", "-test.timeout="+limit.String())
	cmd.Dir = p.Dir
	cmd.Env = append(os.Environ(), "TMPDIR="+temp, "PWD="+p.Dir)
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
