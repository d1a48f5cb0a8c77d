package realkernel

import (
	"bytes"
	"fmt"
	"path"
	"strings"
)

// archive builds a cpio archive in the "newc" form that the kernel unpacks at
// boot (Linux, Documentation/driver-api/early-userspace/buffer-format.rst).
// Equal calls give equal bytes: no owner, no time.
type archive struct {
	buf  bytes.Buffer
	dirs map[string]bool
	ino  int
}

const (
	modeDir  = 0o040755
	modeFile = 0o100755
)

// add puts an executable file, and the folders it lies in, at a path without
// leading slash.
func (a *archive) add(name string, content []byte) {
	for i, c := range name {
		if c == '/' {
			a.folder(name[:i])
		}
	}
	a.entry(name, modeFile, content)
}

func (a *archive) folder(name string) {
	if a.dirs[name] {
		return
	}
	if a.dirs == nil {
		a.dirs = map[string]bool{}
	}
	a.dirs[name] = true
	a.entry(name, modeDir, nil)
}

// finish ends the archive and returns it.
func (a *archive) finish() []byte {
	a.entry("TRAILER!!!", 0, nil)
	return a.buf.Bytes()
}

// entry writes one header, name and content, each padded to 4 bytes.
func (a *archive) entry(name string, mode int, content []byte) {
	if mode != 0 {
		name = strings.TrimPrefix(path.Clean(name), "/")
		a.ino++
	}
	// inode, mode, uid, gid, links, mtime, size, device, special device,
	// length of the name with its zero, check sum
	fmt.Fprintf(&a.buf, "070701%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%s\x00",
		a.ino, mode, 0, 0, 1, 0, len(content), 0, 0, 0, 0, len(name)+1, 0, name)
	a.pad()
	a.buf.Write(content)
	a.pad()
}

func (a *archive) pad() {
	for a.buf.Len()%4 != 0 {
		a.buf.WriteByte(0)
	}
}
