package userfile

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/dustin/go-humanize"
	"github.com/hbollon/go-edlib"
)

// Small is how many bytes a file of words may have, a configuration or a plan: a
// hundred times what such files have, and little enough for the reader of YAML, whose
// work grows with the square of some of them.
const Small = 64 << 10

// Patience is how long is waited for a pipe or a device to send anything.
const Patience = time.Minute

var patience = Patience // shorter in tests

// ErrSize is returned where a file has more bytes than it may.
var ErrSize = errors.New("is it the right file?")

// Input is an open file to read, of a bounded number of bytes.
type Input struct {
	name  string
	ctx   context.Context
	from  io.Reader
	file  *os.File // nil where the input is none
	waits bool     // a pipe or a device, for which one may wait for ever
	began bool
	stop  func() bool
	size  int64
	read  int64
	most  int64
}

// Open opens the file at path, of which at most so many bytes are read; beyond them
// Read fails with ErrSize. It may be a pipe or a device: Read fails when ctx ends, or
// when nothing comes for Patience.
func Open(ctx context.Context, path string, most int64) (*Input, error) {
	file, err := Resolve(path)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w%s", path, withoutPath(err, path), whereInstead(err, path))
	}
	f, err := os.OpenFile(file, os.O_RDONLY|withoutWaiting, 0)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w%s", path, bare(err), whereInstead(err, path))
	}
	info, err := f.Stat()
	if err == nil && info.IsDir() {
		err = errors.New("it is a folder: name a file in it")
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open %s: %w", path, err), f.Close())
	}
	in := &Input{name: path, ctx: ctx, from: f, file: f, most: most}
	if info.Mode().IsRegular() {
		in.size = info.Size()
	} else {
		in.waits = true
	}
	if in.size > most {
		return nil, errors.Join(in.tooLarge(), f.Close())
	}
	return in, nil
}

// whereInstead says of a file that is not there where it was looked for, and which may be
// meant; it is the end of a sentence, "" for any other error.
func whereInstead(err error, path string) string {
	if !errors.Is(err, fs.ErrNotExist) {
		return ""
	}
	dir, name := filepath.Dir(path), strings.ToLower(filepath.Base(path))
	entries, err := os.ReadDir(dir)
	if err != nil {
		return ": there is no folder " + dir
	}
	for _, e := range entries {
		if e.Type().IsRegular() && edlib.OSADamerauLevenshteinDistance(name, strings.ToLower(e.Name())) <= 2 {
			return ": did you mean " + filepath.Join(dir, e.Name()) + "?"
		}
	}
	if here, err := filepath.Abs(dir); err == nil && !filepath.IsAbs(path) {
		return ": it is looked for in " + here
	}
	return ""
}

// bare is an error without the path that the sentence has already.
func bare(err error) error {
	var at *fs.PathError
	if errors.As(err, &at) {
		return at.Err
	}
	return err
}

// NewInput bounds what comes from elsewhere, which name tells in errors.
func NewInput(ctx context.Context, r io.Reader, name string, most int64) *Input {
	return &Input{name: name, ctx: ctx, from: r, most: most}
}

func (in *Input) tooLarge() error {
	return fmt.Errorf("read %s: it has more than %s, the most that is read of such a file: %w", in.name, humanize.IBytes(uint64(in.most)), ErrSize)
}

// Read reads on.
func (in *Input) Read(p []byte) (int, error) {
	if err := in.wait(); err != nil {
		return 0, fmt.Errorf("read %s: %w", in.name, err)
	}
	n, err := in.from.Read(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = silent()
		if in.ctx.Err() != nil {
			err = context.Cause(in.ctx)
		}
		err = fmt.Errorf("read %s: %w", in.name, err)
	}
	if in.read += int64(n); in.read > in.most {
		return 0, in.tooLarge()
	}
	return n, err
}

func silent() error { return fmt.Errorf("nothing came from it for %v", patience) }

// wait sees to it that the next read does not wait for ever.
func (in *Input) wait() error {
	if !in.waits {
		return context.Cause(in.ctx)
	}
	if !in.began {
		if err := awaitFirst(in.ctx, in.file); err != nil {
			return err
		}
		in.began = true
		in.stop = context.AfterFunc(in.ctx, func() { _ = in.file.SetReadDeadline(time.Unix(1, 0)) })
	}
	_ = in.file.SetReadDeadline(time.Now().Add(patience)) // a device that has no deadlines never lets wait
	return context.Cause(in.ctx)
}

// Size is the file's size in bytes, 0 where it is unknown.
func (in *Input) Size() int64 { return in.size }

// Bytes is how many bytes were read so far.
func (in *Input) Bytes() int64 { return in.read }

// Close gives the file back.
func (in *Input) Close() error {
	if in.stop != nil {
		in.stop()
	}
	if in.file == nil {
		return nil
	}
	return in.file.Close()
}

// Read is the whole file at path, of at most so many bytes.
func Read(ctx context.Context, path string, most int64) ([]byte, error) {
	in, err := Open(ctx, path, most)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	var text bytes.Buffer
	text.Grow(int(in.size) + bytes.MinRead)
	_, err = text.ReadFrom(in)
	return text.Bytes(), err
}
