package sqlite

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// AgentLock is held by the one agent that records into a folder. The system
// takes it away when the process ends, however it ends.
type AgentLock struct{ file *os.File }

// lockFile keeps the holder's process id; the file itself stays.
const lockFile = "agent.lock"

// LockAgent takes the agent's lock on a data folder, which is created where
// absent. A second agent gets an error that names the first.
func LockAgent(dir string) (*AgentLock, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, explain("locking", dir, err)
	}
	path := filepath.Join(dir, lockFile)
	if err := makeShared(path); err != nil {
		return nil, explain("locking", dir, err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, explain("locking", dir, err)
	}
	taken, err := tryLock(f)
	if err == nil && taken {
		err = writePid(f)
	}
	if err != nil {
		f.Close()
		return nil, explain("locking", dir, err)
	}
	if !taken {
		defer f.Close()
		return nil, fmt.Errorf("another agent (pid %s) is using %s: stop it first, or choose another folder with --data", holder(f), dir)
	}
	return &AgentLock{f}, nil
}

// Release gives the lock back. Calling it again is harmless.
func (l *AgentLock) Release() error {
	if l.file == nil {
		return nil
	}
	err := l.file.Close()
	l.file = nil
	return err
}

func writePid(f *os.File) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err := f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

// holder is the pid that the holder wrote.
func holder(f *os.File) string {
	text, err := io.ReadAll(io.LimitReader(f, 20))
	pid := strings.TrimSpace(string(text))
	if err != nil || pid == "" {
		return "unknown"
	}
	return pid
}
