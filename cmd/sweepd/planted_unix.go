//go:build unix

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// plantedBy says who but root and this user could have made a folder, or put another one in
// its place; "" for nobody. That is whoever may write into one of the folders above it; into
// one with the sticky bit, whose it is (chmod(2), S_ISVTX).
func plantedBy(dir string) string {
	dir, err := filepath.EvalSymlinks(dir)
	below, ours := uint32(0), true // the owner of what is below, and whether that is root or this user
	for at := dir; err == nil; at = filepath.Dir(at) {
		var info os.FileInfo
		if info, err = os.Stat(at); err != nil {
			break
		}
		s := info.Sys().(*syscall.Stat_t)
		if at != dir {
			mode := info.Mode()
			open := mode&0o002 != 0 || mode&0o020 != 0 && s.Gid != 0 && int(s.Gid) != os.Getegid()
			switch {
			case !isOurs(s.Uid):
				return fmt.Sprintf("%s is %s's", at, userName(s.Uid))
			case open && mode&os.ModeSticky != 0 && !ours:
				return fmt.Sprintf("whoever made it in %s is %s", at, userName(below))
			case open && mode&os.ModeSticky == 0:
				return fmt.Sprintf("others than its owner may write into %s", at)
			}
		}
		if below, ours = s.Uid, isOurs(s.Uid); at == filepath.Dir(at) {
			return ""
		}
	}
	return fmt.Sprintf("whose that is cannot be seen (%v)", err)
}

// isOurs tells whether a user is root or this one.
func isOurs(id uint32) bool { return id == 0 || int(id) == os.Geteuid() }
