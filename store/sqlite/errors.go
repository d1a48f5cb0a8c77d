package sqlite

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

var (
	// ErrNewerSchema is returned by Open for a file of a later version.
	ErrNewerSchema = errors.New("written by a newer version of sweepd")
	// ErrNotOurs is returned by Open for a file that is no data of sweepd.
	ErrNotOurs = errors.New("not a data file of sweepd")
	// ErrNoData is returned by Open with ReadOnly where there is no file yet.
	ErrNoData = errors.New("no data yet")

	// errNoFolder says what Windows does not: it calls this a path not found.
	errNoFolder = errors.New("not a directory")
)

// Error is a failure on the data file, with what to do about it.
type Error struct {
	Doing  string // "opening", "storing readings"
	Path   string
	Remedy string // empty when there is none to give
	Err    error
}

func (e *Error) Error() string {
	var library *sqlite.Error
	switch {
	case e.Remedy == "":
		return fmt.Sprintf("%s %s: %v", e.Doing, e.Path, e.Err)
	case errors.As(e.Err, &library): // whose words and number tell a tester nothing more
		return fmt.Sprintf("%s %s: %s", e.Doing, e.Path, e.Remedy)
	}
	return fmt.Sprintf("%s %s: %v: %s", e.Doing, e.Path, e.Err, e.Remedy)
}

func (e *Error) Unwrap() error { return e.Err }

// Fault tells whether the file, the disk or the library failed, and not only what was asked
// cannot be done.
func (e *Error) Fault() bool {
	for _, fault := range []error{ErrMoved, ErrForeignLog, ErrNewerSchema, ErrDamaged, errTangled, ErrNotOurs, ErrNoData, errNoFolder} {
		if errors.Is(e.Err, fault) {
			return true
		}
	}
	var library *sqlite.Error
	var path *fs.PathError
	var system syscall.Errno
	return errors.As(e.Err, &library) || errors.As(e.Err, &path) || errors.As(e.Err, &system)
}

// fail gives err its path and remedy; nil stays nil.
func (s *Store) fail(doing string, err error) error { return explain(doing, s.path, err) }

func explain(doing, path string, err error) error {
	var already *Error
	if err == nil || errors.As(err, &already) {
		return err
	}
	return &Error{Doing: doing, Path: path, Remedy: remedy(err), Err: err}
}

func remedy(err error) string {
	var broken *sqlite.Error
	if errors.As(err, &broken) {
		return remedyByCode(broken.Code())
	}
	switch {
	case errors.Is(err, ErrMoved):
		return "put it back; or, to go on with what is there now, end the agent and start it again"
	case errors.Is(err, ErrForeignLog):
		return "put back the file that the log belongs to, or move the log and its -shm away to go on with this file, without what is only in the log"
	case errors.Is(err, ErrNewerSchema):
		return "install that version or a later one, or choose another folder with --data"
	case errors.Is(err, ErrDamaged):
		return "`sweepd check` tells what is damaged and what is whole; `sweepd merge` into another folder takes over what is whole"
	case errors.Is(err, errTangled):
		return recoverIt
	case errors.Is(err, ErrNotOurs):
		return "choose another folder with --data"
	case errors.Is(err, ErrNoData):
		return "start the agent or import a file first, or choose the folder with --data"
	case errors.Is(err, fs.ErrPermission):
		return "run as the user who owns it (on Windows: as administrator), or choose another folder with --data"
	case errors.Is(err, errNoFolder), errors.Is(err, syscall.ENOTDIR):
		return "choose another folder with --data"
	}
	return ""
}

const recoverIt = "keep a copy, then try `sqlite3 FILE .recover`"

// remedyByCode goes by the primary result code (https://sqlite.org/rescode.html).
func remedyByCode(code int) string {
	switch code & 0xff {
	case sqlite3.SQLITE_FULL:
		return "the disk is full: make room; nothing stored so far is lost"
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_AUTH:
		return "the file and its folder must be writable: run as the user who owns them (on Windows: as administrator), or choose another folder with --data"
	case sqlite3.SQLITE_NOTADB:
		return "it is not a database, and so not a data file of sweepd: move it away, or choose another folder with --data"
	case sqlite3.SQLITE_CORRUPT:
		return "the file is damaged: " + recoverIt
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return "another process is writing (an import or merge?): try again when it is done"
	case sqlite3.SQLITE_IOERR:
		return "the disk or file system failed: see the system's log"
	}
	return ""
}

// isBusy tells whether another connection had the lock.
func isBusy(err error) bool {
	var broken *sqlite.Error
	return errors.As(err, &broken) && broken.Code()&0xff == sqlite3.SQLITE_BUSY
}

// needsWritableFolder tells whether reading failed for want of the files that
// SQLite makes beside the data file.
func needsWritableFolder(err error) bool {
	var broken *sqlite.Error
	if !errors.As(err, &broken) {
		return false
	}
	code := broken.Code() & 0xff
	return code == sqlite3.SQLITE_CANTOPEN || code == sqlite3.SQLITE_READONLY
}
