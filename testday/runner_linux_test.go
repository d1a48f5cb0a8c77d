package testday

import (
	"crypto/rand"
	"os/exec"
	"testing"
)

// What a job starts in a session of its own is ended with it, and nothing else is.
func TestRunnerEndsOtherSessions(t *testing.T) {
	t.Parallel() // it mostly waits
	withShell(t)
	l, id := NewRunnerLink(nil), rand.Text()
	defer start(t, &Runner{Agent: linked{l}, ID: id})()
	awaitRunner(t, l)
	other := exec.Command("sleep", "600")
	other.Env = []string{jobMark + id + ".another"}
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = other.Process.Kill(); _ = other.Wait() }()
	j := Job{ID: "sessions", Command: []string{"sh", "-c", "setsid sleep 600 > /dev/null 2>&1 & setsid sh -c 'trap \"\" TERM; sleep 0.1; echo score: 8; sleep 600' & sleep 0.4"}, ResultFrom: []string{"score=score: (.*)"}}
	d, err := l.Carry(t.Context(), j, func() {})
	if err != nil || !d.LeftBehind || d.Failure != "" || d.Results["score"].Value != 8 {
		t.Errorf("%+v, %v", d, err)
	}
	if list := marked(jobMark + id + "." + j.ID); len(list) > 0 {
		t.Errorf("%v go on", list)
	}
	if list := marked(jobMark + id + ".another"); len(list) != 1 {
		t.Errorf("another job has %v", list)
	}
}
