package sqlite

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// AgentLock is held by the one agent that records into a folder: on the folder itself,
// where the system can lock one, and on a file in it, which agents of earlier versions
// go by and which could be deleted. The system takes it away when the process ends,
// however it ends.
type AgentLock struct{ folder, file *os.File }

// lockFile keeps the holder's process id; the file itself stays.
const lockFile = "agent.lock"

// LockAgent takes the agent's lock on a data folder, which is created where
// absent. A second agent gets an error that names the first.
func LockAgent(dir string) (*AgentLock, error) {
	l := &AgentLock{}
	taken, err := l.take(dir)
	switch {
	case err != nil:
		return nil, explain("locking", dir, errors.Join(err, l.Release()))
	case !taken:
		defer l.Release()
		return nil, fmt.Errorf("another agent (pid %s) is using %s: stop it first, or choose another folder with --data", holder(dir), dir)
	}
	return l, nil
}

func (l *AgentLock) take(dir string) (taken bool, err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return false, err
	}
	if l.folder, taken, err = lockFolder(dir); err != nil || !taken {
		return false, err
	}
	path := filepath.Join(dir, lockFile)
	if err := makeShared(path); err != nil {
		return false, err
	}
	if l.file, err = openNoLink(path, os.O_RDWR); err != nil {
		return false, err
	}
	if taken, err = tryLock(l.file); err != nil || !taken {
		return false, err
	}
	return true, writePid(l.file)
}

// Release gives the lock back. Calling it again is harmless.
func (l *AgentLock) Release() error {
	var errs []error
	for _, f := range []**os.File{&l.file, &l.folder} {
		if *f != nil {
			errs = append(errs, (*f).Close())
			*f = nil
		}
	}
	return errors.Join(errs...)
}

func writePid(f *os.File) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err := f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

// holder is the pid that the holder wrote.
func holder(dir string) string {
	const unknown = "unknown"
	f, err := openNoLink(filepath.Join(dir, lockFile), os.O_RDONLY)
	if err != nil {
		return unknown
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, 20))
	pid := strings.TrimSpace(string(text))
	if err != nil || pid == "" {
		return unknown
	}
	return pid
}
