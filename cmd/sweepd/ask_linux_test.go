package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// keyboard is a terminal on which somebody has typed a text.
func keyboard(t *testing.T, typed string) *os.File {
	t.Helper()
	hand, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { hand.Close() })
	if err := unix.IoctlSetPointerInt(int(hand.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(int(hand.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	terminal, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { terminal.Close() })
	if _, err := hand.WriteString(typed); err != nil {
		t.Fatal(err)
	}
	return terminal
}

// typedAt runs a command line at a terminal on which a text is typed.
func typedAt(t *testing.T, typed string, args ...string) outcome {
	t.Helper()
	var out, stderr bytes.Buffer
	code := Run(context.Background(), args, keyboard(t, typed), &out, &stderr)
	return outcome{code, out.String(), stderr.String()}
}

// At a terminal the question comes in the place of the flag; anything but a yes leaves
// all as it is.
func TestPlanThatReplacesIsAskedAbout(t *testing.T) {
	alone(t)
	plan := strings.Fields("plan new --device unit-oak --workload tile-sort --settings 8-28/4")
	must(t, plan...)
	for _, no := range []string{"\n", "n\n", "ja\n", "\x04"} {
		if o := typedAt(t, no, plan...); o.code != exitFailed || !strings.Contains(o.stderr, "Follow the new plan in its place? [y/N]") {
			t.Errorf("%q: %+v", no, o)
		}
		if out := must(t, "plan", "status"); !strings.HasPrefix(out, "plan 1 ") {
			t.Errorf("%q: %s", no, out)
		}
	}
	if o := typedAt(t, "Yes\n", plan...); o.code != exitOK || !strings.HasPrefix(o.out, "plan 2 ") {
		t.Errorf("yes: %+v", o)
	}
	if o := typedAt(t, "y\n", append(plan, "--json")...); o.code != exitFailed || strings.Contains(o.stderr, "[y/N]") {
		t.Errorf("a program is asked: %+v", o)
	}
	// Another device's plan is no business of this one's.
	must(t, "plan", "new", "--device", "unit-elm", "--workload", "tile-sort", "--settings", "8-28/4")
}
