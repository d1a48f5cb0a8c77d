//go:build unix

package userfile

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// mostLinks is how many links a path may lead through (path_resolution(7)).
const mostLinks = 40

// ErrPlanted is returned for what somebody else may have put where others write, so
// that a file is written or read elsewhere than its user believes.
var ErrPlanted = errors.New("belongs to another user, in a folder that others can write: remove it, or name another place")

// Resolve is the path with its links followed, as far as it exists. A link that leads
// on is refused, with ErrPlanted, where group or everybody may write in its folder and
// neither the caller nor the folder's owner made it: the kernel's rule for sticky
// folders that everybody may write (Documentation/admin-guide/sysctl/fs.rst,
// protected_symlinks), for all that others may write and for every link on the way.
func Resolve(path string) (string, error) {
	if path == "" {
		return "", fmt.Errorf("no file is named: %w", fs.ErrInvalid)
	}
	done, rest := "/", parts(path)
	if !filepath.IsAbs(path) {
		here, err := os.Getwd()
		if err != nil {
			return "", err
		}
		done = here
	}
	for links := 0; len(rest) > 0; {
		name := rest[0]
		rest = rest[1:]
		if name == ".." {
			done = filepath.Dir(done)
			continue
		}
		next := filepath.Join(done, name)
		info, err := os.Lstat(next)
		if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
			return filepath.Join(append([]string{next}, rest...)...), nil
		}
		if err != nil {
			return "", err
		}
		if info.Mode()&fs.ModeSymlink == 0 || leadsToOpenFile(done) {
			done = next
			continue
		}
		if err := linkNotPlanted(done, next, info); err != nil {
			return "", err
		}
		if links++; links > mostLinks {
			return "", &fs.PathError{Op: "follow", Path: path, Err: syscall.ELOOP}
		}
		target, err := os.Readlink(next)
		if err != nil {
			return "", err
		}
		if filepath.IsAbs(target) {
			done = "/"
		}
		rest = append(parts(target), rest...)
	}
	return done, nil
}

// parts are the names in a path.
func parts(path string) []string {
	var list []string
	for name := range strings.SplitSeq(path, "/") {
		if name != "" && name != "." {
			list = append(list, name)
		}
	}
	return list
}

// linkNotPlanted refuses a link that another user may have put into a folder.
func linkNotPlanted(dir, path string, link fs.FileInfo) error {
	return notPlanted(dir, path, link, func(folder fs.FileMode) bool { return folder&0o022 != 0 })
}

// fileNotPlanted refuses to write into what another user may have made for that, by the
// kernel's rule of what is opened to be created (protected_regular, protected_fifos).
func fileNotPlanted(path string, file fs.FileInfo) error {
	return notPlanted(filepath.Dir(path), path, file, func(folder fs.FileMode) bool { return folder&fs.ModeSticky != 0 && folder&0o002 != 0 })
}

func notPlanted(dir, path string, info fs.FileInfo, open func(folder fs.FileMode) bool) error {
	folder, err := os.Stat(dir)
	if err != nil {
		return err
	}
	if owner := ownerOf(info); owner == uint32(os.Geteuid()) || owner == ownerOf(folder) || !open(folder.Mode()) {
		return nil
	}
	return &fs.PathError{Op: "use", Path: path, Err: ErrPlanted}
}

func ownerOf(info fs.FileInfo) uint32 { return info.Sys().(*syscall.Stat_t).Uid }
