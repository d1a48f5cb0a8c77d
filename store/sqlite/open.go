package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"sweepd/internal/userfile"
	"sweepd/store"
)

// FileName is the data file's name in its folder.
const FileName = "sweepd.db"

// Options say how to open a data file. The zero value opens it for reading and
// writing and creates it where absent.
type Options struct {
	// ReadOnly opens an existing file and never changes it.
	ReadOnly bool
	// Unsynced never waits for the disk: for simulated data and tests, where
	// months pass in minutes. A power cut may then damage the file.
	Unsynced bool
	// Damaged is told, once, of each thing that is found damaged as it is read, if it is
	// not nil; see Damage.
	Damaged func(what string)
}

// Store is an open data file. Reading methods may be called from any
// goroutine; writing methods too, but they take turns.
type Store struct {
	path string
	// write is one connection, nil when read-only. read are connections that
	// cannot write, opened on demand and closed when idle.
	write, read *sql.DB
	place       *place // nil when read-only
	immutable   bool   // read without looking for writers
	version     int    // of the file's schema: Version, or less where read-only
	unsynced    bool   // never wait for the disk

	recording recorder
	damage    damage
	closeOnce sync.Once
	closeErr  error
}

var _ store.Store = (*Store)(nil)

// Open opens the data file at path: the file itself, or its folder, which is
// created where absent. The store is ready, or an error says what to do and
// nothing is left open.
func Open(path string, o Options) (*Store, error) {
	file, err := locate(path, o.ReadOnly)
	if err != nil {
		return nil, explain("opening", path, err)
	}
	s := &Store{path: file, unsynced: o.Unsynced, damage: damage{tell: o.Damaged}}
	if err := s.connect(o.ReadOnly); err != nil {
		return nil, errors.Join(explain("opening", file, err), s.Close())
	}
	return s, nil
}

// Path is the data file's.
func (s *Store) Path() string { return s.path }

// locate finds the file for a path that may be a folder, and makes the folder.
func locate(path string, readOnly bool) (string, error) {
	if path == "" {
		return "", fmt.Errorf("no folder given: %w", fs.ErrInvalid)
	}
	path, err := userfile.Resolve(path)
	if err != nil {
		return "", err
	}
	file := path
	if info, err := os.Stat(path); err == nil && info.IsDir() || err != nil && !strings.HasSuffix(path, ".db") {
		if file, err = userfile.Resolve(filepath.Join(path, FileName)); err != nil {
			return "", err
		}
	}
	info, err := os.Stat(file)
	switch {
	case err == nil && !info.Mode().IsRegular(): // a pipe would let wait for ever
		return "", fmt.Errorf("%s is no regular file: %w", file, fs.ErrInvalid)
	case !readOnly:
		return file, makeFolder(filepath.Dir(file))
	case errors.Is(err, fs.ErrNotExist), err == nil && info.Size() == 0 && !exists(file+"-wal"):
		return "", ErrNoData
	}
	return file, err
}

// makeFolder makes a folder, where absent, and says so where a file stands in its way.
func makeFolder(dir string) error {
	err := os.MkdirAll(dir, 0o755)
	var at *fs.PathError
	if errors.As(err, &at) {
		if info, e := os.Stat(at.Path); e == nil && !info.IsDir() {
			return fmt.Errorf("%s is a file, %w", at.Path, errNoFolder)
		}
	}
	return err
}

// connect opens the connections, and makes the schema or brings it up to date.
func (s *Store) connect(readOnly bool) error {
	ctx := context.Background()
	err := checkLog(s.path)
	if err != nil {
		return err
	}
	if !readOnly {
		if err := makeShared(s.path); err != nil {
			return err
		}
		if s.place, err = newPlace(s.path); err != nil {
			return err
		}
		pragmas := writerPragmas
		if s.unsynced {
			pragmas = append(slices.Clone(pragmas), pragma{"synchronous", "OFF", "0"})
		}
		if s.write, err = openPool(dsn(s.path, writerOptions), pragmas, s.place.opened); err != nil {
			return err
		}
		s.write.SetMaxOpenConns(1)
		if err := migrate(ctx, s.write); err != nil {
			return err
		}
		if err := s.place.opened(); err != nil {
			return err
		}
	}
	if err := s.openReaders(); err != nil {
		return err
	}
	err = s.checkVersion(ctx)
	if readOnly && needsWritableFolder(err) && !exists(s.path+"-wal") {
		// Nobody else can be writing there, so the file may be read without
		// the files that coordinate with writers.
		s.immutable = true
		if err := errors.Join(s.read.Close(), s.openReaders()); err != nil {
			return err
		}
		err = s.checkVersion(ctx)
	}
	return err
}

// openReaders opens the pool of connections that cannot write.
func (s *Store) openReaders() (err error) {
	pragmas := readerPragmas
	if s.write == nil { // not the agent: memory is for use
		pragmas = append(slices.Clone(pragmas), pragma{"cache_size", "-8192", "-8192"})
	}
	if s.read, err = openPool(s.dsn(), pragmas, s.place.check); err != nil {
		return err
	}
	// Idle readers go: their page caches would count against the agent.
	s.read.SetMaxIdleConns(1)
	s.read.SetConnMaxIdleTime(readerIdle)
	return nil
}

// dsn is where readers find the file.
func (s *Store) dsn() string {
	options := "mode=ro&" + defensive
	if s.immutable {
		options += "&immutable=1"
	}
	return dsn(s.path, options)
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

const readerIdle = 30 * time.Second

// checkVersion also makes the first read connection, so that Open fails where
// reading would.
func (s *Store) checkVersion(ctx context.Context) error {
	v, err := schemaVersion(ctx, s.read)
	if err != nil {
		return err
	}
	if v == 0 {
		return ErrNoData
	}
	s.version = v
	if s.write != nil { // which looked already
		return nil
	}
	return checkTables(ctx, s.read, v)
}

// Close brings the readings to the file and closes it. Calling it again is
// harmless.
func (s *Store) Close() error {
	s.closeOnce.Do(func() {
		var errs []error
		if s.read != nil {
			errs = append(errs, s.read.Close())
		}
		if s.write != nil && s.place.mayClose() {
			errs = append(errs, s.recording.close(), s.write.Close())
		}
		s.closeErr = explain("closing", s.path, errors.Join(errs...))
	})
	return s.closeErr
}
