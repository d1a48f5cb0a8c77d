package userfile

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

var (
	errFolder = errors.New("is a folder: name a file in it")
	errDisk   = errors.New("is a disk: name a file on one")
	errSocket = errors.New("is a socket: name a file or a pipe")
)

// Write has write fill the file at path. A file there is replaced when all is written
// and on the disk, else it stays as it was; it keeps its mode, its access list, and its
// owner and group where the caller may give them. A new file has the mode that the umask
// says. Of a file with several names (hard links) only the one at path is replaced.
//
// A link is followed (Resolve). What is no regular file is written to, not replaced: a
// device, a pipe, which waits for its reader until ctx ends, and what the program's own
// output or errors go to (/dev/stdout). A disk is refused.
func Write(ctx context.Context, path string, write func(io.Writer) error) error {
	if err := writeFile(ctx, path, write); err != nil {
		return fmt.Errorf("write %s: %w", path, withoutPath(err, path))
	}
	return nil
}

// withoutPath takes the path, which the sentence has already, out of an error.
func withoutPath(err error, path string) error {
	if at, ok := err.(*fs.PathError); ok && at.Path == path {
		return at.Err
	}
	return err
}

func writeFile(ctx context.Context, path string, write func(io.Writer) error) error {
	file, err := Resolve(path)
	if err != nil {
		return err
	}
	if strings.HasSuffix(path, string(filepath.Separator)) {
		return errFolder
	}
	info, err := os.Stat(file)
	if errors.Is(err, fs.ErrNotExist) {
		if dir, err := os.Stat(filepath.Dir(file)); errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("there is no folder %s, make it or name another: %w", filepath.Dir(file), bare(err))
		} else if err == nil && !dir.IsDir() {
			return fmt.Errorf("%s is no folder: name another: %w", filepath.Dir(file), syscall.ENOTDIR)
		}
		return replace(file, nil, write)
	}
	if err != nil {
		return err
	}
	for _, own := range []*os.File{os.Stdout, os.Stderr} {
		if is, err := own.Stat(); err == nil && os.SameFile(is, info) {
			return pour(own, write)
		}
	}
	if err := fileNotPlanted(file, info); err != nil {
		return err
	}
	switch mode := info.Mode(); {
	case mode.IsDir():
		return errFolder
	case mode&fs.ModeDevice != 0 && mode&fs.ModeCharDevice == 0:
		return errDisk
	case mode&fs.ModeSocket != 0:
		return errSocket
	case mode.IsRegular() && !isLink(file): // a link is left of /proc/self/fd/3
		return replace(file, info, write)
	}
	return writeOn(ctx, file, write)
}

func isLink(file string) bool {
	info, err := os.Lstat(file)
	return err == nil && info.Mode()&fs.ModeSymlink != 0
}

// pour writes on an open file.
func pour(f *os.File, write func(io.Writer) error) error {
	b := bufio.NewWriterSize(f, 1<<16)
	err := write(b)
	if err == nil {
		err = b.Flush()
	}
	var at *fs.PathError
	if errors.As(err, &at) && at.Path == f.Name() { // a name that nobody gave
		err = at.Err
	}
	if errors.Is(err, syscall.EPIPE) {
		err = fmt.Errorf("its reader left before all was written: %w", syscall.EPIPE)
	}
	return err
}

// readerPoll is how often is looked whether a pipe has a reader.
const readerPoll = 20 * time.Millisecond

// writeOn writes on what is no regular file.
func writeOn(ctx context.Context, file string, write func(io.Writer) error) error {
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_TRUNC|withoutWaiting, 0)
	for errors.Is(err, errNoReader) && ctx.Err() == nil {
		time.Sleep(readerPoll)
		f, err = os.OpenFile(file, os.O_WRONLY|os.O_TRUNC|withoutWaiting, 0)
	}
	if err != nil {
		if errors.Is(err, errNoReader) {
			return errors.New("nobody reads from it")
		}
		return err
	}
	defer f.Close()
	stop := context.AfterFunc(ctx, func() { _ = f.SetWriteDeadline(time.Now()) }) // not every device has deadlines
	defer stop()
	if err := pour(f, write); err != nil {
		return err
	}
	return f.Close()
}

// replace writes a new file and gives it the name when it is whole. old is what has the
// name now, nil for nothing.
func replace(file string, old fs.FileInfo, write func(io.Writer) error) (err error) {
	folder, err := os.OpenRoot(filepath.Dir(file))
	if err != nil {
		return err
	}
	defer folder.Close()
	name, mode := filepath.Base(file), fs.FileMode(0o666)
	if old != nil {
		if err := mayWrite(file); err != nil {
			return err
		}
		mode = 0o600 // until it is known who may read it
	}
	temporary := ".sweepd-" + rand.Text()
	f, err := folder.OpenFile(temporary, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return fmt.Errorf("make a new file beside it: %w", bare(err))
	}
	defer func() {
		if err != nil {
			_ = f.Close()
			if folder.Remove(temporary) != nil { // which Wine cannot do
				_ = os.Remove(filepath.Join(filepath.Dir(file), temporary))
			}
		}
	}()
	if err := pour(f, write); err != nil {
		return err
	}
	if old != nil {
		if err := keepRights(f, file, old); err != nil {
			return err
		}
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	return folder.Rename(temporary, name)
}
