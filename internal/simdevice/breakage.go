package simdevice

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Breakage is a way in which a source of the tree goes wrong.
type Breakage int

// The breakages.
const (
	Removed  Breakage = iota // the file, or the folder with all its files, is gone
	Garbage                  // text that is no value
	Binary                   // bytes that are no text
	Empty                    // no byte
	Huge                     // 1 MB of digits
	Unknown                  // the text "<unknown>"
	IsFolder                 // a folder stands in its place, so that a read fails
	Frozen                   // the value of now, for ever
)

// BreakFile breaks the file at path, below the tree's root with slashes, for
// example "sys/class/power_supply/BAT0/energy_now"; links are followed. With
// Removed path may be a folder. The model goes on, and Flush leaves the file
// alone until [Device.Repair].
//
// Readers that keep a removed file open read end of file from then on, where
// the kernel would answer ENODEV.
func (d *Device) BreakFile(path string, how Breakage) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.tree == nil {
		return errNoTree
	}
	return d.tree.breakFile(path, how)
}

// Mislead makes the file at path show a text, whatever is so, until [Device.Repair]: a
// sensor that jumps.
func (d *Device) Mislead(path, text string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.tree == nil {
		return errNoTree
	}
	if err := d.tree.breakFile(path, Empty); err != nil {
		return err
	}
	return overwrite(d.tree.full(d.tree.resolve(path)), []byte(text+"\n"))
}

// Repair brings back what BreakFile broke, as it would be by now. A removed file
// is a new file: readers must open it again.
func (d *Device) Repair(path string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.tree == nil {
		return errNoTree
	}
	return d.tree.repair(path)
}

var errNoTree = errors.New("simdevice: this device has no tree")

func (t *tree) breakFile(path string, how Breakage) error {
	files := t.below(t.resolve(path))
	if len(files) == 0 {
		return fmt.Errorf("simdevice: no file %s to break", path)
	}
	if how != Removed && (len(files) > 1 || files[0].path != t.resolve(path)) {
		return fmt.Errorf("simdevice: %s is a folder, which can only be removed", path)
	}
	for _, f := range files {
		if err := t.breakOne(f, how); err != nil {
			return fmt.Errorf("simdevice: break %s: %w", path, err)
		}
	}
	if how == Removed {
		return t.removeFolder(path)
	}
	return nil
}

func (t *tree) breakOne(f *file, how Breakage) error {
	f.broken = true
	if how == Frozen {
		return nil
	}
	name := t.full(f.path)
	if err := os.Chmod(name, 0o644); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	switch how {
	case Removed, IsFolder:
		if f.handle != nil {
			f.handle.Close()
			f.handle = nil
		}
		// Emptied first: whoever has it open must not go on reading the last value.
		if err := os.Truncate(name, 0); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		if how == IsFolder {
			return os.Mkdir(name, 0o755)
		}
		return nil
	default:
		return overwrite(name, how.text())
	}
}

// overwrite rewrites an existing file in place.
func overwrite(name string, text []byte) error {
	h, err := os.OpenFile(name, os.O_WRONLY|os.O_TRUNC, 0)
	if err != nil {
		return err
	}
	_, err = h.Write(text)
	return errors.Join(err, h.Close())
}

func (b Breakage) text() []byte {
	switch b {
	case Garbage:
		return []byte("no such number\n")
	case Binary:
		return []byte{0x00, 0xff, 0x31, 0x32, 0x00, 0x0a, 0x80}
	case Huge:
		return bytes.Repeat([]byte{'9'}, 1<<20)
	case Unknown:
		return []byte("<unknown>\n")
	}
	return nil
}

// resolve follows the tree's own links in path.
func (t *tree) resolve(path string) string {
	path = strings.TrimPrefix(filepath.ToSlash(filepath.Clean(path)), "/")
	for range 10 {
		next := path
		for from, to := range t.links {
			if path == from || strings.HasPrefix(path, from+"/") {
				next = to + path[len(from):]
			}
		}
		if next == path {
			break
		}
		path = next
	}
	return path
}

// below returns the file at path, or the files in the folder path.
func (t *tree) below(path string) []*file {
	if f := t.files[path]; f != nil {
		return []*file{f}
	}
	var files []*file
	for name, f := range t.files {
		if strings.HasPrefix(name, path+"/") {
			files = append(files, f)
		}
	}
	return files
}

// within tells whether path is folder or lies below it.
func within(path, folder string) bool {
	return path == folder || strings.HasPrefix(path, folder+"/")
}

// removeFolder removes the folder that path leads to, and the links to it.
func (t *tree) removeFolder(path string) error {
	real := t.resolve(path)
	if t.files[real] != nil {
		return nil
	}
	for from, to := range t.links {
		if within(to, real) || within(from, real) {
			if err := os.Remove(t.full(from)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
	}
	return os.RemoveAll(t.full(real))
}

func (t *tree) repair(path string) error {
	real := t.resolve(path)
	files := t.below(real)
	if len(files) == 0 {
		return fmt.Errorf("simdevice: no file %s to repair", path)
	}
	for _, f := range files {
		if err := t.repairOne(f); err != nil {
			return fmt.Errorf("simdevice: repair %s: %w", path, err)
		}
	}
	for from, to := range t.links {
		if within(to, real) || within(from, real) {
			if _, err := os.Lstat(t.full(from)); errors.Is(err, fs.ErrNotExist) {
				t.link(from, to)
			}
		}
	}
	return t.err
}

func (t *tree) repairOne(f *file) error {
	if !f.broken {
		return nil
	}
	f.broken = false
	name := t.full(f.path)
	info, err := os.Lstat(name)
	if err == nil && !info.IsDir() {
		f.size = len(f.text)
		return errors.Join(overwrite(name, f.text), os.Chmod(name, f.mode))
	}
	if err == nil {
		err = os.Remove(name)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return t.create(f)
}
