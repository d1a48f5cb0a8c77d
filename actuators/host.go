package actuators

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"sweepd/run"
)

// Host is the Machine that is real: the kernel's files below a root, and the user's
// commands.
type Host struct {
	// Sys is where the kernel's sysfs is; "" means /sys. Nothing outside of it is written,
	// and in it only what an actuator of this package sets.
	Sys string
	// Run runs a command, a program with its arguments, without a shell, and returns what it
	// printed; it bounds time and output. nil: there are no commands.
	Run RunCommand
}

// RunCommand runs a program with its arguments, without a shell, bounded in time and
// output, and returns what it printed, without white space around it.
type RunCommand func(ctx context.Context, words []string) (string, error)

var _ Machine = Host{}

// Read reads the file of the place, or asks its command Reading.
func (h Host) Read(ctx context.Context, w Write) (string, error) {
	if w.Path != "" {
		return bounded(ctx, w.Path, func() (string, error) { return h.readFile(w.Path) })
	}
	if len(w.Reading) == 0 {
		return "", fmt.Errorf("%s: no command is known that prints what is set", w.Place())
	}
	return h.read(ctx, w.Reading)
}

// read is what a command prints that tells what is set.
func (h Host) read(ctx context.Context, words []string) (string, error) {
	text, err := h.run(ctx, words)
	if err != nil {
		return "", err
	}
	if text == "" {
		return "", fmt.Errorf("%s printed nothing, where what is set is wanted", words[0])
	}
	if strings.ContainsAny(text, "\n\r") {
		return "", fmt.Errorf("%s printed %q, where one line with what is set is wanted", words[0], run.Shorten(text))
	}
	return withoutUnit(text), nil
}

// withoutUnit takes the W of watts off a number.
func withoutUnit(text string) string {
	number := strings.TrimSpace(strings.TrimRight(text, "wW"))
	if _, err := run.ParseNumber(number); err == nil {
		return number
	}
	return text
}

// Write writes w.Text to the file of the place, or runs its command.
func (h Host) Write(ctx context.Context, w Write) error { return h.put(ctx, w, w.Command, w.Text) }

// PutBack writes w.Was to the file of the place, or runs its command Back.
func (h Host) PutBack(ctx context.Context, w Write) error {
	words := w.Back
	if len(words) == 0 {
		words = w.Command
	}
	return h.put(ctx, w, words, w.Was)
}

func (h Host) put(ctx context.Context, w Write, words []string, text string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if w.Path == "" {
		_, err := h.run(ctx, fill(words, text))
		return err
	}
	if text == "" || len(text) > 255 || strings.ContainsAny(text, "\n\x00") {
		return fmt.Errorf("%s: %q is not one line to write", w.Path, run.Shorten(text))
	}
	ended, err := beginWrite(w.Path)
	if err != nil {
		return err
	}
	_, err = bounded(ctx, w.Path, func() (string, error) {
		defer ended()
		return "", h.writeFile(w.Path, text)
	})
	return err
}

// writing are the places that are being written to. A driver that hangs may carry a write
// out at any time later: until it did, nothing else is written there, so that what was put
// back last is what stays.
var writing sync.Map

func beginWrite(path string) (ended func(), err error) {
	if _, begun := writing.LoadOrStore(path, true); begun {
		return nil, fmt.Errorf("%s: what was written to it before still hangs in its driver: %w", path, ErrNoAnswer)
	}
	return func() { writing.Delete(path) }, nil
}

func (h Host) run(ctx context.Context, words []string) (string, error) {
	if len(words) == 0 || h.Run == nil {
		return "", errors.New("no command is known")
	}
	out, err := h.Run(ctx, words)
	if err != nil {
		return "", fmt.Errorf("%s: %w", words[0], err)
	}
	return out, nil
}

// Filled is the command of a write with its value in it, as it is carried out; empty for a
// file.
func (w Write) Filled() []string { return fill(w.Command, w.Text) }

// fill puts the value into the words of a command, but for the program itself.
func fill(words []string, value string) []string {
	filled := make([]string, len(words))
	for i, word := range words {
		if i > 0 {
			word = strings.ReplaceAll(word, "{}", value)
		}
		filled[i] = word
	}
	return filled
}

// fileTimeout is how long a driver may take for one file. Firmware is slow, and takes some
// hundredths of a second. Common practice, no source.
const fileTimeout = 2 * time.Second

// bounded does something with a file on a goroutine, which is left behind where the driver
// does not come back.
func bounded(ctx context.Context, path string, do func() (string, error)) (string, error) {
	type answer struct {
		text string
		err  error
	}
	answered := make(chan answer, 1)
	late := time.NewTimer(fileTimeout)
	defer late.Stop()
	go func() {
		text, err := do()
		answered <- answer{text, err}
	}()
	select {
	case a := <-answered:
		return a.text, a.err
	case <-ctx.Done():
		return "", fmt.Errorf("%s: %w: %w", path, ErrNoAnswer, ctx.Err())
	case <-late.C:
		return "", fmt.Errorf("%s: its driver does not answer within %v: %w", path, fileTimeout, ErrNoAnswer)
	}
}
