package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"sync"
)

// ErrMoved is wrapped where the data file or its write-ahead log is not at its path
// any more: what is stored then would be found by nobody.
var ErrMoved = errors.New("moved, deleted or replaced while it was open")

// place holds the path of a data file that is open for writing against the files that
// were opened there. It goes by the files' numbers in the file system and never opens
// one: closing it again would take away the locks that SQLite has on it (fcntl(2)).
type place struct {
	path string

	mu   sync.Mutex // guards the rest
	file fs.FileInfo
	log  fs.FileInfo // nil until there is one
	size int64       // the largest seen: the file never shrinks but by VACUUM
	gone bool        // as the latest check found
	// overwritten: with what is not its own, as its size told.
	overwritten bool
}

// newPlace is where the file is now.
func newPlace(path string) (*place, error) {
	file, err := identity(path)
	if err != nil {
		return nil, err
	}
	return &place{path: path, file: file, size: file.Size()}, nil
}

// identity tells files apart. On Windows os.SameFile asks for a file's number when it
// is first called, and for that of whatever is at the path by then.
func identity(path string) (fs.FileInfo, error) {
	info, err := os.Stat(path)
	if err == nil {
		os.SameFile(info, info)
	}
	return info, err
}

// opened notes the log of the file's writing connection, once SQLite has both open.
func (p *place) opened() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if _, err := held(p.path, p.file); err != nil {
		return err
	}
	log, err := identity(p.path + "-wal")
	if errors.Is(err, fs.ErrNotExist) { // a new file has none yet
		return nil
	}
	p.log = log
	return err
}

// check tells what is wrong where other files are at the paths, or none. A store that
// only reads has no place, and takes what there is.
func (p *place) check() error {
	if p == nil {
		return nil
	}
	_, err := p.look()
	return err
}

// look is the file's size; it fails where check does.
func (p *place) look() (size int64, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	file, err := held(p.path, p.file)
	if err == nil && p.log != nil {
		_, err = held(p.path+"-wal", p.log)
	}
	if err != nil {
		return 0, err
	}
	return file.Size(), nil
}

// grew notes the size, and gives the largest that was noted before.
func (p *place) grew(size int64) (was int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	was = p.size
	p.size = max(p.size, size)
	return was
}

// tidied takes a smaller size as the right one.
func (p *place) tidied(size int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.size, p.overwritten = size, false
}

// note keeps what a check found, and reports whether the file was found gone just now.
func (p *place) note(gone, overwritten bool) (isNew bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	isNew = gone && !p.gone
	p.gone, p.overwritten = gone, p.overwritten || overwritten
	return isNew
}

// mayClose tells whether the writing connection may be closed: that brings the log into
// the file, which must not be another one.
func (p *place) mayClose() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return !p.overwritten
}

// held is what is at the path, which must be that file.
func held(path string, file fs.FileInfo) (fs.FileInfo, error) {
	now, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s is not there: it was %w", path, ErrMoved)
	case err != nil:
		return nil, fmt.Errorf("%w: it was %w", err, ErrMoved)
	case !os.SameFile(file, now):
		return nil, fmt.Errorf("another file is at %s: what was there was %w", path, ErrMoved)
	}
	return now, nil
}

// CheckPlace tells why what is stored now would not be found again, see
// store.Recorder.
func (s *Store) CheckPlace(ctx context.Context) error {
	return s.fail("looking for", s.checkPlace(ctx))
}

func (s *Store) checkPlace(ctx context.Context) error {
	if s.write == nil {
		return errReadOnly
	}
	size, err := s.place.look()
	if s.place.note(err != nil, false) {
		s.bringHome(context.WithoutCancel(ctx))
	}
	if err != nil {
		return err
	}
	return s.checkSize(size)
}

// bringHome brings the write-ahead log into the file that it belongs to, wherever that
// is now, and empties the log: a file that was put in its place is then not covered by
// it. Where that fails nothing is worse than before.
func (s *Store) bringHome(ctx context.Context) {
	_, _ = s.write.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
}

// checkSize finds a file that was written over with an older or another one, which
// leaves its number as it was. VACUUM makes a file smaller, too, and then the log says
// how large the file is; what the file says of itself is no witness.
func (s *Store) checkSize(size int64) error {
	was := s.place.grew(size)
	if size >= was {
		return nil
	}
	pages, missing, err := readLog(s.path+"-wal", size)
	if err != nil {
		return err
	}
	if pages == 0 || missing != 0 {
		s.place.note(false, true)
		return fmt.Errorf("it has %d bytes and had %d: it was written over, that is %w", size, was, ErrMoved)
	}
	s.place.tidied(size)
	return nil
}
