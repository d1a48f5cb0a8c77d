package simlab

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"sweepd/actuators"
	"sweepd/internal/simdevice"
)

// Machine is what writes are carried out on where the device is simulated: its tree obeys
// at once, answers as a kernel does, and has the faults that [simdevice.Device.Plant]
// planted. Nothing outside of the tree is read or written, whatever path is asked for.
type Machine struct {
	Device *simdevice.Device
	// Command stands in for running a user's command and gives what it prints; nil: none can
	// be run.
	Command func(ctx context.Context, args []string) (string, error)
	// Before is called before each write, with what is about to be written; its error is
	// that of the write. It may be nil.
	Before func(w actuators.Write, text string) error

	mu      sync.Mutex
	hanging map[string]bool // paths whose write has not come back yet
}

var _ actuators.Machine = (*Machine)(nil)

// Read is the text of a place.
func (m *Machine) Read(ctx context.Context, w actuators.Write) (string, error) {
	if err := ctx.Err(); err != nil {
		return "", err
	}
	if w.Path == "" {
		return m.run(ctx, w, w.Reading, "")
	}
	return m.Device.Get(w.Path)
}

// Write writes w.Text.
func (m *Machine) Write(ctx context.Context, w actuators.Write) error {
	return m.put(ctx, w, w.Text, w.Command)
}

// PutBack writes w.Was.
func (m *Machine) PutBack(ctx context.Context, w actuators.Write) error {
	return m.put(ctx, w, w.Was, w.Back)
}

func (m *Machine) put(ctx context.Context, w actuators.Write, text string, command []string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if m.Before != nil {
		if err := m.Before(w, text); err != nil {
			return err
		}
	}
	if w.Path == "" {
		_, err := m.run(ctx, w, command, text)
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	done, err := m.begin(w.Path)
	if err != nil {
		return err
	}
	written := make(chan error, 1)
	go func() { // left behind where it hangs
		defer done()
		written <- m.Device.Set(w.Path, text)
	}()
	select {
	case err := <-written:
		return err
	case <-ctx.Done():
		return fmt.Errorf("write %s: %w: %w", w.Path, actuators.ErrNoAnswer, ctx.Err())
	}
}

// begin begins a write to a place. One that hangs may be carried out at any time, so that
// nothing else is written to the place before it has come back.
func (m *Machine) begin(path string) (done func(), err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.hanging[path] {
		return nil, fmt.Errorf("write %s: what was written before still hangs: %w", path, actuators.ErrNoAnswer)
	}
	if m.hanging == nil {
		m.hanging = map[string]bool{}
	}
	m.hanging[path] = true
	return func() {
		m.mu.Lock()
		defer m.mu.Unlock()
		delete(m.hanging, path)
	}, nil
}

// patience is how long a write that hangs is waited for.
const patience = 5 * time.Second

func (m *Machine) run(ctx context.Context, w actuators.Write, args []string, text string) (string, error) {
	if m.Command == nil {
		return "", fmt.Errorf("%s: %w", w.Place(), errNoCommands)
	}
	args = slices.Clone(args)
	for i := range args {
		args[i] = strings.ReplaceAll(args[i], "{}", text)
	}
	out, err := m.Command(ctx, args)
	return strings.TrimSpace(out), err
}

var errNoCommands = errors.New("the simulated device has no commands")
