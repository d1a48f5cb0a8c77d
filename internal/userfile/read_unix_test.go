//go:build unix

package userfile

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// A file of as many bytes as it may have is read, and one more is an error that says how
// many; what never ends is no exception.
func TestSize(t *testing.T) {
	text := strings.Repeat("x", 1000)
	path := file(t, text, 0o600)
	if got, err := Read(t.Context(), path, 1000); err != nil || string(got) != text {
		t.Errorf("%d bytes, %v", len(got), err)
	}
	for _, path := range []string{path, "/dev/zero"} {
		if got, err := Read(t.Context(), path, 999); !errors.Is(err, ErrSize) || !strings.Contains(err.Error(), "more than 999 B") || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %d bytes, error %v", path, len(got), err)
		}
	}
	in := NewInput(t.Context(), strings.NewReader(text), "standard input", 999)
	if _, err := in.Read(make([]byte, 1000)); !errors.Is(err, ErrSize) || !strings.Contains(err.Error(), "standard input") {
		t.Errorf("standard input: %v", err)
	}
	for path, want := range map[string]error{t.TempDir(): nil, filepath.Join(t.TempDir(), "none"): fs.ErrNotExist, "": fs.ErrInvalid} {
		if _, err := Open(t.Context(), path, 1); err == nil || want != nil && !errors.Is(err, want) {
			t.Errorf("%q: %v, want %v", path, err, want)
		}
	}
}

// A pipe is read to its end, its writer waited for, and given up when nothing comes,
// before the first byte or after it, or when the context ends.
func TestPipesAreWaitedFor(t *testing.T) {
	patience = 200 * time.Millisecond
	defer func() { patience = Patience }()
	path := filepath.Join(t.TempDir(), "pipe")
	must(t, unix.Mkfifo(path, 0o600))
	go func() {
		time.Sleep(50 * time.Millisecond) // that the reader comes first, mostly
		_ = os.WriteFile(path, []byte("late"), 0)
	}()
	if text, err := Read(t.Context(), path, Small); err != nil || string(text) != "late" {
		t.Errorf("%q, %v", text, err)
	}
	if _, err := Read(t.Context(), path, Small); err == nil || !strings.Contains(err.Error(), "nothing came from it for 200ms") {
		t.Errorf("no writer: %v", err)
	}
	both, err := os.OpenFile(path, os.O_RDWR, 0)
	must(t, err)
	defer both.Close()
	if _, err := Read(t.Context(), path, Small); err == nil || !strings.Contains(err.Error(), "nothing came") {
		t.Errorf("a writer that says nothing: %v", err)
	}
	_, err = both.WriteString("some")
	must(t, err)
	if text, err := Read(t.Context(), path, Small); err == nil || !strings.Contains(err.Error(), "nothing came") || string(text) != "some" {
		t.Errorf("a writer that stops: %q, %v", text, err)
	}
	patience = time.Hour
	for _, text := range []string{"", "some"} {
		_, err = both.WriteString(text)
		must(t, err)
		ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
		if _, err := Read(ctx, path, Small); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("the context's end after %q: %v", text, err)
		}
		cancel()
	}
}
