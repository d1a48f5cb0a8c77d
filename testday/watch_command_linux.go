package testday

import (
	"bytes"
	"os"
	"path/filepath"
	"strconv"
	"syscall"

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
