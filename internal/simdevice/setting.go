package simdevice

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// Fault is what is wrong with a file that can be set. Without Errno a write is taken, and
// what comes of it is told by the others; the zero value is no fault.
type Fault struct {
	Errno  syscall.Errno // that a write is answered with: EBUSY, EINVAL, EACCES, ENODEV, ...
	Unread syscall.Errno // that a read is answered with
	Hangs  bool          // a write comes back after Mend, and not before
	Keeps  bool          // a write changes nothing and reads back as before
	Lies   bool          // a write reads back, and the device does not follow
	Shows  string        // what the file reads after any write, which the device follows
	Times  int           // how many writes it is wrong for; 0: until Mend
}

// planted is a fault at its file.
type planted struct {
	Fault
	done   int
	mended chan struct{} // closed by Mend
}

// ErrElsewhere is a path that is not in the device's tree: nothing outside of one is ever
// written.
var ErrElsewhere = errors.New("not a file of the simulated device")

// Plant makes something wrong with the file at path, below the tree's root with slashes or
// absolute, until [Device.Mend].
func (d *Device) Plant(path string, fault Fault) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	f, err := d.settable(path)
	if err != nil {
		return fmt.Errorf("simdevice: plant a fault: %w", err)
	}
	f.mend()
	f.fault = &planted{Fault: fault, mended: make(chan struct{})}
	return nil
}

// Mend takes away what Plant did. What the file shows is then what the device does.
func (d *Device) Mend(path string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	f, err := d.settable(path)
	if err != nil {
		return fmt.Errorf("simdevice: mend: %w", err)
	}
	f.mend()
	f.lie = ""
	d.tree.flush()
	return d.tree.err
}

func (f *file) mend() {
	if f.fault != nil {
		close(f.fault.mended)
		f.fault = nil
	}
}

// Set writes a text into the file at an absolute path, as write(2) does with a kernel's
// file: the device obeys at once and its files show it, or the error wraps the errno that
// a kernel answers, EINVAL for what the place does not take. A path outside of the tree is
// ErrElsewhere.
func (d *Device) Set(path, text string) error {
	fail := func(err error) error { return &fs.PathError{Op: "write", Path: path, Err: err} }
	d.mu.Lock()
	f, err := d.settable(path)
	if err != nil {
		d.mu.Unlock()
		return err
	}
	if f.fault != nil && f.fault.Hangs && f.fault.begins() {
		mended := f.fault.mended
		d.mu.Unlock()
		<-mended
		d.mu.Lock()
	}
	defer d.mu.Unlock()
	switch {
	case f.broken:
		return fail(syscall.ENODEV)
	case f.obey == nil:
		return fail(syscall.EACCES)
	case d.cfg.IgnoreWrites:
		return nil
	}
	d.obeyWritesLocked() // that somebody else wrote before
	if err := f.take(strings.TrimSpace(text)); err != nil {
		return fail(err)
	}
	d.tree.flush()
	d.switchCPUs()
	return d.tree.err
}

// Get reads the file at an absolute path, as read(2) does with a kernel's file, without
// the white space around its text.
func (d *Device) Get(path string) (string, error) {
	fail := func(err error) error { return &fs.PathError{Op: "read", Path: path, Err: err} }
	d.mu.Lock()
	defer d.mu.Unlock()
	f, err := d.settable(path)
	switch {
	case err != nil:
		return "", err
	case f.fault != nil && f.fault.Unread != 0:
		return "", fail(f.fault.Unread)
	case f.busy != nil && f.busy():
		return "", fail(syscall.EBUSY)
	}
	text, err := os.ReadFile(d.tree.full(f.path))
	if errors.Is(err, fs.ErrNotExist) {
		return "", fail(syscall.ENODEV)
	}
	return strings.TrimSpace(string(text)), err
}

// settable is the file at a path, which need not be one that can be set.
func (d *Device) settable(path string) (*file, error) {
	if d.tree == nil {
		return nil, errNoTree
	}
	rel := path
	if filepath.IsAbs(path) {
		var err error
		if rel, err = filepath.Rel(d.tree.root, path); err != nil || !filepath.IsLocal(rel) {
			return nil, &fs.PathError{Op: "open", Path: path, Err: ErrElsewhere}
		}
	}
	f := d.tree.files[d.tree.resolve(rel)]
	if f == nil {
		return nil, &fs.PathError{Op: "open", Path: path, Err: fs.ErrNotExist}
	}
	return f, nil
}

// begins counts a write that a fault holds for.
func (p *planted) begins() bool {
	if p.Times > 0 && p.done >= p.Times {
		return false
	}
	p.done++
	return true
}

// take does what was written, with what is wrong about it.
func (f *file) take(text string) error {
	if f.busy != nil && f.busy() {
		return syscall.EBUSY
	}
	f.lie = ""
	if f.fault == nil || f.fault.Hangs || !f.fault.begins() {
		return f.obey(text)
	}
	switch {
	case f.fault.Errno != 0:
		return f.fault.Errno
	case f.fault.Keeps:
		return nil
	case f.fault.Lies:
		f.lie = text
		return nil
	}
	err := f.obey(text)
	if err == nil {
		f.lie = f.fault.Shows
	}
	return err
}

// shown appends what the file should contain by now.
func (f *file) shown(text []byte) []byte {
	if f.lie != "" {
		return append(append(text, f.lie...), '\n')
	}
	return f.show(text)
}
