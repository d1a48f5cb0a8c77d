package main

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"go.uber.org/zap"

	"sweepd/actuators"
	"sweepd/testday"
)

const (
	setProfile = "firmware/acpi/platform_profile"
	setLimit   = "class/powercap/rapl:0/constraint_0_power_limit_uw"
)

// leftSet is a machine on which an agent that kept its data in dir set a profile and a
// limit, and died.
func leftSet(t *testing.T, dir string) (has func(place string) string, sys string) {
	t.Helper()
	sys = t.TempDir()
	t.Setenv("HOST_SYS", sys)
	first, err := actuators.OpenFirstValues(dir, actuators.FirstValuesOptions{Root: sys})
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range []actuators.Write{
		{Actuator: "profile", Path: filepath.Join(sys, setProfile), Text: "performance", Was: "balanced"},
		{Actuator: "powercap", Path: filepath.Join(sys, setLimit), Text: "25000000", Was: "15000000"},
	} {
		if err := os.MkdirAll(filepath.Dir(w.Path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(w.Path, []byte(w.Was+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		if err := first.Set(t.Context(), actuators.Host{Sys: sys}, w); err != nil {
			t.Fatal(err)
		}
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	has = func(place string) string {
		text, err := os.ReadFile(filepath.Join(sys, place))
		if err != nil {
			t.Fatal(err)
		}
		return strings.TrimSpace(string(text))
	}
	if has(setProfile) != "performance" || has(setLimit) != "25000000" {
		t.Fatal("nothing was set")
	}
	return has, sys
}

func TestActuatorsRestore(t *testing.T) {
	dir := alone(t)
	t.Setenv("HOST_SYS", t.TempDir())
	if out := must(t, "actuators", "restore"); !strings.HasPrefix(out, "nothing to put back") {
		t.Errorf("%s", out)
	}
	// The service manager calls it with the agent's options each time the agent ends.
	if o := sweepd(t, "actuators", "restore", "--after-agent", "--listen", "127.0.0.1:0", "--web.systemd-socket"); o.code != exitOK || o.out+o.stderr != "" {
		t.Errorf("after an agent that set nothing: %+v", o)
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("it left %v", left)
	}
	if o := sweepd(t, "actuators", "restore", "--data", dir+"x"); o.code != exitFailed || !strings.Contains(o.stderr, "no such folder") {
		t.Errorf("a slip in the folder: %+v", o)
	}

	has, sys := leftSet(t, dir)
	wantWords(t, must(t, "actuators", "restore"),
		filepath.Join(sys, setLimit)+" has its first value again: 15000000, after 25000000",
		filepath.Join(sys, setProfile)+" has its first value again: balanced, after performance")
	if has(setProfile) != "balanced" || has(setLimit) != "15000000" {
		t.Errorf("%s, %s", has(setProfile), has(setLimit))
	}
	if out := must(t, "actuators", "restore"); !strings.HasPrefix(out, "nothing to put back") {
		t.Errorf("twice: %s", out)
	}
}

// What cannot be put back is told with what to type, kept, and given up when asked for.
func TestActuatorsRestoreGivesUp(t *testing.T) {
	dir := alone(t)
	has, sys := leftSet(t, dir)
	gone := filepath.Join(sys, setProfile)
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		o := sweepd(t, "actuators", "restore", "--json")
		var r restored
		if err := json.Unmarshal([]byte(o.out), &r); err != nil || o.code != exitFailed || len(r.Left) != 1 || r.Left[0].ByHand != "echo balanced | sudo tee "+gone || r.GivenUp == nil {
			t.Fatalf("%v, %+v", err, o)
		}
		wantWords(t, o.stderr, "1 place not back")
	}
	if o := sweepd(t, "actuators", "restore"); o.code != exitFailed {
		t.Errorf("%+v", o)
	} else {
		wantWords(t, o.out, gone+" is not back: its first value is balanced, it was set to performance:", "no such file or directory; by hand: echo balanced | sudo tee "+gone)
	}
	if has(setLimit) != "15000000" {
		t.Errorf("the other one has %s", has(setLimit))
	}
	wantWords(t, must(t, "actuators", "restore", "--give-up"), gone+" is given up: it stays as it is, its first value was balanced")
	if out := must(t, "actuators", "restore"); !strings.HasPrefix(out, "nothing to put back") {
		t.Errorf("%s", out)
	}
}

// While another process sets the machine nothing is put back under it.
func TestActuatorsRestoreBesideADay(t *testing.T) {
	dir := alone(t)
	has, sys := leftSet(t, dir)
	first, err := actuators.OpenFirstValues(t.TempDir(), actuators.FirstValuesOptions{Root: sys})
	if err != nil {
		t.Fatal(err)
	}
	defer first.Close()
	if err := first.Keep(t.Context(), actuators.Write{Actuator: "cores", Path: filepath.Join(sys, "devices/system/cpu/cpu1/online"), Text: "0", Was: "1"}); err != nil {
		t.Fatal(err)
	}
	if o := sweepd(t, "actuators", "restore"); o.code != exitFailed || !strings.Contains(o.stderr, "sweepd plan stop") || has(setProfile) != "performance" {
		t.Errorf("%+v, %s", o, has(setProfile))
	}
}

// Without a folder it looks where the agent that answers keeps its data, and leaves a day
// that goes on to that agent.
func TestActuatorsRestoreAsksTheAgent(t *testing.T) {
	alone(t)
	dir := t.TempDir()
	has, _ := leftSet(t, dir)
	day := testday.HandsOff{State: testday.Running, Changed: []actuators.Write{{Path: setProfile}}}
	agent := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		var answer any = day
		if r.URL.Path != "/api/v1/plan/run" {
			answer = testday.Status{Holder: testday.Holder{Data: dir}}
		}
		if err := json.NewEncoder(w).Encode(answer); err != nil {
			t.Error(err)
		}
	}))
	defer agent.Close()
	t.Setenv("SWEEPD_AGENT", agent.URL)
	t.Setenv("SWEEPD_DATA", "")
	t.Setenv("HOME", t.TempDir())
	for _, args := range [][]string{nil, {"--data", dir}} {
		o := sweepd(t, append([]string{"actuators", "restore"}, args...)...)
		if o.code != exitFailed || has(setProfile) != "performance" {
			t.Errorf("%v: %+v, %s", args, o, has(setProfile))
		}
		wantWords(t, o.stderr, "has 1 place set for a day without hands: `sweepd plan stop --now` ends the day and puts back")
	}
	day.State = testday.Waiting // and could not put it back by itself
	if must(t, "actuators", "restore"); has(setProfile) != "balanced" {
		t.Error(has(setProfile))
	}
	agent.Close() // and may have left something elsewhere
	if o := sweepd(t, "actuators", "restore"); o.code != exitFailed || !strings.Contains(words(o.stderr), "has no first value of anything that sweepd set, but no agent answers") || !strings.Contains(o.stderr, "--data DIR") {
		t.Errorf("%+v", o)
	}
}

// The agent puts back first of all: also where its configuration keeps it from starting.
func TestAgentRestoresFirst(t *testing.T) {
	dir := alone(t)
	has, _ := leftSet(t, dir)
	bad := filepath.Join(t.TempDir(), "sweepd.yaml")
	if err := os.WriteFile(bad, []byte("interval: 7 parsecs\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if o := sweepd(t, "agent", "--config", bad); o.code == exitOK || !strings.Contains(o.stderr, "it has its first value again") {
		t.Errorf("%+v", o)
	}
	if has(setProfile) != "balanced" || has(setLimit) != "15000000" {
		t.Errorf("%s, %s", has(setProfile), has(setLimit))
	}
	// So does the command for the service manager then.
	has, _ = leftSet(t, dir)
	if o := sweepd(t, "actuators", "restore", "--after-agent", "--config", bad); o.code != exitOK || has(setProfile) != "balanced" || strings.Count(o.out, "\n") != 2 {
		t.Errorf("%+v, %s", o, has(setProfile))
	}
}

// dieIn names the folder for a process of this test that sets something and dies.
const dieIn = "SWEEPD_TEST_DIE_IN"

// init has processes of these tests do what they were started for: to watch an agent, or to
// be one that dies.
func init() {
	if len(os.Args) > 1 && os.Args[1] == "actuators" {
		main()
	}
	if dir := os.Getenv(dieIn); dir != "" {
		die(dir)
	}
}

// die sets something as an agent does, and dies of what standard input says.
func die(dir string) {
	a := &app{getenv: os.Getenv}
	sys := os.Getenv("HOST_SYS")
	first, err := actuators.OpenFirstValues(dir, actuators.FirstValuesOptions{Root: sys, Watch: a.watched(dir, zap.NewNop())})
	if err == nil {
		err = first.Set(context.Background(), actuators.Host{Sys: sys}, actuators.Write{Actuator: "profile", Path: filepath.Join(sys, setProfile), Text: "performance", Was: "balanced"})
	}
	if err != nil {
		panic(err)
	}
	_, _ = os.Stdout.WriteString("set\n")
	how, _ := io.ReadAll(os.Stdin)
	switch string(how) {
	case "panic":
		go func() { panic("of a goroutine that has nothing to do with setting") }()
		select {}
	case "well":
		if _, err := first.Restore(context.Background(), actuators.Host{Sys: sys}); err != nil {
			panic(err)
		}
		os.Exit(0)
	}
	select {} // until it is killed
}

// TestAnAgentThatDiesIsRestored: whoever watches it puts back, whatever it dies of, without
// a service manager and before anybody starts an agent again.
func TestAnAgentThatDiesIsRestored(t *testing.T) {
	for _, how := range []string{"kill", "panic", "hangup of the terminal", "well"} {
		t.Run(how, func(t *testing.T) {
			dir := alone(t)
			has, sys := leftSet(t, dir)
			must(t, "actuators", "restore")
			cmd := exec.Command(os.Args[0])
			cmd.Env = append(os.Environ(), dieIn+"="+dir, "HOST_SYS="+sys)
			cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
			in, err := cmd.StdinPipe()
			if err != nil {
				t.Fatal(err)
			}
			out, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			if _, err := io.ReadFull(out, make([]byte, len("set\n"))); err != nil || has(setProfile) != "performance" {
				t.Fatalf("%v: nothing was set: %s", err, has(setProfile))
			}
			_, _ = io.WriteString(in, how)
			_ = in.Close()
			switch how {
			case "kill":
				err = cmd.Process.Kill()
			case "hangup of the terminal": // reaches the whole group
				err = syscall.Kill(-cmd.Process.Pid, syscall.SIGHUP)
			}
			if err != nil {
				t.Error(err)
			}
			if err := cmd.Wait(); (err == nil) != (how == "well") {
				t.Errorf("it ended with %v", err)
			}
			eventually(t, "the first value is back and forgotten", func() bool {
				_, err := os.Stat(filepath.Join(dir, actuators.FirstValuesFile))
				return has(setProfile) == "balanced" && errors.Is(err, os.ErrNotExist)
			})
		})
	}
}
