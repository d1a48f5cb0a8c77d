package simdevice

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// MakeTempDir makes a new folder for a device's tree: in memory (/dev/shm) where
// there is such a place to write, else where temporary files go. The caller
// removes it.
func MakeTempDir(name string) (string, error) {
	if dir, err := os.MkdirTemp("/dev/shm", "simdevice-"+name+"-"); err == nil {
		return dir, nil
	}
	dir, err := os.MkdirTemp("", "simdevice-"+name+"-")
	if err != nil {
		return "", fmt.Errorf("simdevice: no folder for the tree: %w", err)
	}
	return dir, nil
}

// tree is the folder of files. Files keep their place (inode) for as long as
// their source exists, because readers keep them open; they are rewritten there,
// and only when their text changes.
type tree struct {
	root    string
	files   map[string]*file // by path below root, with slashes, without links
	links   map[string]string
	scratch []byte
	err     error // the first that building or writing met
}

// file is one file of the tree.
type file struct {
	path   string
	mode   fs.FileMode
	handle *os.File // nil for a file that is written once, and while it is gone
	live   bool     // kept open
	text   []byte   // what it should contain
	size   int      // bytes on disk
	broken bool     // text goes nowhere until Repair
}

func newTree(root string) *tree {
	return &tree{root: root, files: map[string]*file{}, links: map[string]string{}}
}

func (t *tree) fail(err error) {
	if err != nil && t.err == nil {
		t.err = fmt.Errorf("simdevice: tree: %w", err)
	}
}

func (t *tree) full(path string) string { return filepath.Join(t.root, filepath.FromSlash(path)) }

// fixed makes a file that does not change by itself. A line feed is added to a
// text that is not empty, as the kernel does.
func (t *tree) fixed(path, text string) *file {
	return t.add(&file{path: path, mode: 0o444}, text)
}

// live makes a file that Flush rewrites.
func (t *tree) live(path, text string) *file {
	return t.add(&file{path: path, mode: 0o644, live: true}, text)
}

// secret makes a live file that only its owner may read, as the kernel does
// with energy counters.
func (t *tree) secret(path, text string) *file {
	return t.add(&file{path: path, mode: 0o600, live: true}, text)
}

func (t *tree) add(f *file, text string) *file {
	if text != "" && !strings.HasSuffix(text, "\n") {
		text += "\n"
	}
	f.text = []byte(text)
	t.files[f.path] = f
	t.fail(t.create(f))
	return f
}

// mkdir makes folders.
func (t *tree) mkdir(paths ...string) error {
	for _, p := range paths {
		if err := os.MkdirAll(t.full(p), 0o755); err != nil {
			return err
		}
	}
	return nil
}

// create puts the file on disk as a new file.
func (t *tree) create(f *file) error {
	name := t.full(f.path)
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return err
	}
	// Made writable first: a mode of 0444 is set at the end.
	h, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return err
	}
	_, err = h.Write(f.text)
	f.size = len(f.text)
	if f.mode != 0o644 {
		err = errors.Join(err, os.Chmod(name, f.mode))
	}
	if f.live {
		f.handle = h
		return err
	}
	return errors.Join(err, h.Close())
}

// link makes path a symbolic link to the folder to, both below the root.
func (t *tree) link(path, to string) {
	name := t.full(path)
	t.links[path] = to
	t.fail(os.MkdirAll(filepath.Dir(name), 0o755))
	rel, err := filepath.Rel(filepath.Dir(name), t.full(to))
	if err == nil {
		err = os.Symlink(rel, name)
	}
	t.fail(err)
}

// member makes a folder for a device of a class below its place among the
// devices, links to it from the class, and returns its path. Like the kernel, it
// adds a link to the device where there is one.
func (t *tree) member(class, name, device string) string {
	path := "sys/devices/" + device + "/" + class + "/" + name
	t.fail(os.MkdirAll(t.full(path), 0o755))
	t.link("sys/class/"+class+"/"+name, path)
	return path
}

// put sets a live file's text and writes it if it changed.
func (t *tree) put(f *file, text []byte) {
	if f == nil || bytes.Equal(f.text, text) {
		return
	}
	f.text = append(f.text[:0], text...)
	if f.broken || f.handle == nil {
		return
	}
	t.write(f)
}

// write rewrites the file in place. A text that became shorter is padded with
// line feeds before the file is cut, so that whoever reads in between sees the
// new value and not a mixture.
func (t *tree) write(f *file) {
	text := f.text
	short := len(text) < f.size
	if short {
		padded := append([]byte(nil), text...)
		for len(padded) < f.size {
			padded = append(padded, '\n')
		}
		text = padded
	}
	if _, err := f.handle.WriteAt(text, 0); err != nil {
		t.fail(err)
		return
	}
	if short {
		t.fail(f.handle.Truncate(int64(len(f.text))))
	}
	f.size = len(f.text)
}

// putInt sets a file to a whole number.
func (t *tree) putInt(f *file, v int64) {
	if f == nil {
		return
	}
	t.scratch = append(strconv.AppendInt(t.scratch[:0], v, 10), '\n')
	t.put(f, t.scratch)
}

// putText sets a file to a word.
func (t *tree) putText(f *file, v string) {
	if f == nil {
		return
	}
	t.scratch = append(append(t.scratch[:0], v...), '\n')
	t.put(f, t.scratch)
}

// written returns what somebody else wrote into the file since it was last put,
// without surrounding space; ok is false when it is as put, or empty (a writer
// is in the middle of it).
func (t *tree) written(f *file) (text string, ok bool) {
	if f == nil || f.handle == nil || f.broken {
		return "", false
	}
	var buf [64]byte
	n, err := f.handle.ReadAt(buf[:], 0)
	if err != nil && err != io.EOF {
		t.fail(err)
		return "", false
	}
	got := buf[:n]
	if bytes.Equal(got, f.text) || len(bytes.TrimSpace(got)) == 0 {
		return "", false
	}
	return string(bytes.TrimSpace(got)), true
}

// restore puts the file's text back after somebody wrote into it.
func (t *tree) restore(f *file) {
	info, err := f.handle.Stat()
	if err != nil {
		t.fail(err)
		return
	}
	f.size = int(info.Size())
	t.write(f)
}

// close closes every file that is open.
func (t *tree) close() error {
	var errs []error
	for _, f := range t.files {
		if f.handle != nil {
			errs = append(errs, f.handle.Close())
			f.handle = nil
		}
	}
	return errors.Join(errs...)
}
