package testday

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// dieWithParent has the command's own process killed where this one is, which nobody
// can prepare for: PR_SET_PDEATHSIG(2const). It counts from the thread that starts it, so
// the caller has to stay on one.
func dieWithParent(a *syscall.SysProcAttr) { a.Pdeathsig = unix.SIGKILL }

// deadAlone tells whether all that is left of a process group are processes that are dead
// and that nobody has cleared away (proc_pid_stat(5): state and process group).
func deadAlone(group int) bool {
	files, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil || len(files) == 0 {
		return false
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			continue // it has ended
		}
		fields := bytes.Fields(text[bytes.LastIndexByte(text, ')')+1:]) // after the name, which may hold anything
		if len(fields) > 2 && string(fields[2]) == strconv.Itoa(group) && string(fields[0]) != "Z" && string(fields[0]) != "X" {
			return false
		}
	}
	return true
}

// endMarked ends all processes with a mark in their environment, and kills those that do
// not end within leftBehindDelay. It tells whether there were any. A process that gave
// itself another environment is not found.
func endMarked(mark string) bool {
	list := marked(mark)
	found := len(list) > 0
	end := time.Now().Add(leftBehindDelay)
	for s := unix.SIGTERM; len(list) > 0; list = marked(mark) {
		for _, p := range list {
			_ = unix.Kill(p, s) // it may have ended
		}
		if s == unix.SIGKILL {
			break
		}
		time.Sleep(slowestPoll)
		if !time.Now().Before(end) {
			s = unix.SIGKILL
		}
	}
	return found
}

// marked are the processes whose environment has a mark (proc_pid_environ(5)); dead ones have
// none.
func marked(mark string) (list []int) {
	files, _ := filepath.Glob("/proc/[0-9]*/environ") // the pattern is good
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil || !slices.Contains(strings.Split(string(text), "\x00"), mark) {
			continue // another user's, or none
		}
		if p, err := strconv.Atoi(filepath.Base(filepath.Dir(file))); err == nil {
			list = append(list, p)
		}
	}
	return list
}
