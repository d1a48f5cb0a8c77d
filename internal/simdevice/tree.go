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
	live    []*file          // those that change, in the order in which they were made
	links   map[string]string
	scratch []byte
	err     error // the first that building or writing met
}

// file is one file of the tree.
type file struct {
	path   string
	mode   fs.FileMode
	handle *os.File // nil for a file that is written once, and while it is gone
	text   []byte   // what it should contain
	size   int      // bytes on disk
	broken bool     // text goes nowhere until Repair

	show func(text []byte) []byte // appends what it should contain by now; nil for a file that does not change
	// obey does what somebody else wrote into it, or says what a kernel answers; nil for a
	// file that is not a setting.
	obey  func(text string) error
	busy  func() bool // reading and writing fail with EBUSY; nil: never
	rare  bool        // it is not looked at each time whether somebody wrote into it
	fault *planted    // see Device.Plant
	lie   string      // that it shows instead; "": what is so
}

// setting makes the file one that can be set.
func (f *file) setting(obey func(text string) error) *file {
	f.obey = obey
	return f
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
func (t *tree) fixed(path, text string) {
	if text != "" && !strings.HasSuffix(text, "\n") {
		text += "\n"
	}
	t.add(&file{path: path, mode: 0o444, text: []byte(text)})
}

// text makes a file that Flush rewrites when what show appends has changed.
func (t *tree) text(path string, show func(text []byte) []byte) *file {
	return t.add(&file{path: path, mode: 0o644, show: show})
}

// word makes a file that shows a word, or an empty line.
func (t *tree) word(path string, value func() string) *file {
	return t.text(path, func(text []byte) []byte { return append(append(text, value()...), '\n') })
}

// number makes a file that shows a whole number.
func (t *tree) number(path string, value func() int64) *file {
	return t.text(path, wholeNumber(value))
}

// secret makes a file that shows a whole number to its owner alone, as the
// kernel does with energy counters.
func (t *tree) secret(path string, value func() int64) {
	t.add(&file{path: path, mode: 0o600, show: wholeNumber(value)})
}

func wholeNumber(value func() int64) func(text []byte) []byte {
	return func(text []byte) []byte { return append(strconv.AppendInt(text, value(), 10), '\n') }
}

func (t *tree) add(f *file) *file {
	if f.show != nil {
		f.text = f.show(nil)
		t.live = append(t.live, f)
	}
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
	if f.show != nil {
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

// flush writes the files whose text has changed.
func (t *tree) flush() {
	for _, f := range t.live {
		t.scratch = f.shown(t.scratch[:0])
		if bytes.Equal(f.text, t.scratch) {
			continue
		}
		f.text = append(f.text[:0], t.scratch...)
		if !f.broken && f.handle != nil {
			t.write(f)
		}
	}
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

// obeyWrites does what was written into settings since the last flush, unless
// that is to be ignored, and puts their text back; the next flush shows what
// became of it. What is set rarely is looked at where all is true.
func (t *tree) obeyWrites(ignore, all bool) {
	for _, f := range t.live {
		if f.obey == nil || f.rare && !all {
			continue
		}
		if text, ok := t.written(f); ok {
			if !ignore {
				_ = f.take(text) // what is refused is put back
			}
			t.restore(f)
		}
	}
}

// written returns what somebody else wrote into the file since it was last put,
// without surrounding space; ok is false when it is as put, or empty (a writer
// is in the middle of it).
func (t *tree) written(f *file) (text string, ok bool) {
	if f.handle == nil || f.broken {
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
