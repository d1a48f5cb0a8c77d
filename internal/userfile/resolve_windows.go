package userfile

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
)

func fileNotPlanted(string, fs.FileInfo) error { return nil }

// ErrPlanted is returned for what somebody else may have put where others write. Here
// nothing is: a link takes an administrator to make.
var ErrPlanted = errors.New("belongs to another user, in a folder that others can write: remove it, or name another place")

// Resolve is the path with its links followed, as far as it exists.
func Resolve(path string) (string, error) {
	if path == "" {
		return "", fmt.Errorf("no file is named: %w", fs.ErrInvalid)
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	return filepath.Abs(path)
}
