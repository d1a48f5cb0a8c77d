package testday

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// Merged is what became of the runs of another data file.
type Merged struct {
	Added     int        `json:"added"`
	Known     int        `json:"known"`
	Corrected []string   `json:"corrected"` // here already, with corrections that were made there
	Overruled []Conflict `json:"overruled"` // of those, what was corrected here too: the later one counts
	Recording []string   `json:"recording"` // not taken, for they are still recording there
	Conflicts []Conflict `json:"conflicts"`
	Bad       []BadRun   `json:"bad"` // left out
	// Unjudged are those of Corrected of which both files corrected what findings depend
	// on: JudgeAgain is for them.
	Unjudged []string `json:"-"`
	Import   int64    `json:"-"` // the merge among the imports
}

// BadRun is a run of the other file that is damaged or breaks the rules of import; it was
// left out.
type BadRun struct {
	Run string `json:"run"`
	Why string `json:"why"`
}

// Conflict is a run that both files have with different content; it was left as it is
// here.
type Conflict struct {
	Run         string   `json:"run"`
	Differences []string `json:"differences"`
}

// MergeRequest says what comes as bytes: a data file, and behind it the last LogBytes of
// them what the database keeps beside it (its write-ahead log).
type MergeRequest struct {
	Name     string `json:"name"` // of the data file, for errors
	LogBytes int64  `json:"log_bytes"`
	Bytes    int64  `json:"bytes"` // of the data file
	// SameDevice names devices that are one machine, here and there, see Merge.
	SameDevice []string `json:"same_device"`
}

// MergeFile takes over what is in another data file.
var MergeFile = &Operation[MergeRequest, Merged]{
	About{Method: "POST", Path: "/merge", Summary: "Takes over all runs and readings of another device's data file.", Needs: NeedsRight, Opens: OpensToWrite, Takes: "application/vnd.sqlite3"},
	func(ctx context.Context, d *Day, q MergeRequest) (m Merged, err error) {
		q.Name = cmp.Or(q.Name, "the data file that was sent")
		if q.Bytes <= 0 {
			return m, requestError(errors.New("bytes is missing: how many bytes of what is sent are the data file (log_bytes: how many after them are its -wal)"))
		}
		dir, err := os.MkdirTemp(d.Dir, Incoming)
		if err != nil {
			return m, err
		}
		defer func() { err = errors.Join(err, RemoveIncoming(dir)) }()
		file := filepath.Join(dir, "other.db")
		for _, part := range []struct {
			path  string
			bytes int64
		}{{file, q.Bytes}, {file + "-wal", q.LogBytes}} {
			if part.bytes > 0 || part.path == file {
				if err := keep(part.path, io.LimitReader(d.In, part.bytes), part.bytes); err != nil {
					return m, fmt.Errorf("take %s: %w", q.Name, err)
				}
			}
		}
		m, err = MergeAndJudge(ctx, d.Store, file, q.SameDevice, d.Thresholds, d.Now, d.Progress)
		switch {
		case err == nil:
			err = d.Store.NameImport(ctx, m.Import, q.Name)
		case strings.Contains(err.Error(), file): // that is not whole, or not ours; and no fault of the data here
			err = errors.New(strings.ReplaceAll(err.Error(), file, q.Name))
		}
		return m, err
	},
}

// Incoming is what the folders begin with that hold files while they are taken over.
const Incoming = "incoming-"

// RemoveIncoming removes such a folder. os.RemoveAll would do, but asks of Windows what
// older ones and Wine do not know.
func RemoveIncoming(dir string) (err error) {
	files, err := os.ReadDir(dir)
	for _, f := range files {
		err = errors.Join(err, os.Remove(filepath.Join(dir, f.Name())))
	}
	return errors.Join(err, os.Remove(dir))
}

// keep writes so many bytes to a new file.
func keep(path string, from io.Reader, bytes int64) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	n, err := io.Copy(f, from)
	if err == nil && n < bytes {
		err = io.ErrUnexpectedEOF
	}
	return errors.Join(err, f.Close())
}

// Merge takes over all runs and readings of another data file, or data folder. same names
// the devices that are one machine, here and there, whatever the facts of their runs say.
func Merge(ctx context.Context, s store.Importer, path string, same []string, progress func(done, total int)) (Merged, error) {
	r, err := s.Merge(ctx, path, progress, same...)
	m := Merged{Added: r.Added, Known: r.Known, Corrected: append([]string{}, r.Corrected...), Overruled: conflicts(r.Overruled),
		Recording: append([]string{}, r.Recording...), Conflicts: conflicts(r.Conflicts), Bad: []BadRun{}, Unjudged: r.Unjudged, Import: r.Import}
	for _, b := range r.Bad {
		m.Bad = append(m.Bad, BadRun(b))
	}
	return m, err
}

// MergeAndJudge is Merge that also judges again what was corrected in both places.
func MergeAndJudge(ctx context.Context, s store.Store, path string, same []string, th Thresholds, now time.Time, progress func(done, total int)) (Merged, error) {
	var m Merged
	err := markAround(ctx, s, th, now, func() (err error) {
		m, err = Merge(ctx, s, path, same, progress)
		return err
	})
	if err == nil {
		err = JudgeAgain(ctx, s, m.Unjudged, th, now)
	}
	if err != nil {
		return m, err
	}
	var moved []run.Run
	for _, id := range m.Corrected {
		d, err := s.Run(ctx, id)
		if err != nil {
			return m, err
		}
		moved = append(moved, run.Run{Labels: run.Labels{Device: d.Device}}) // the cell that it was in is not known here
	}
	return m, markUnlikeOf(ctx, s, moved, th, now)
}

func conflicts(list []store.Conflict) []Conflict {
	out := []Conflict{}
	for _, c := range list {
		out = append(out, Conflict{c.Run, append([]string{}, c.Differences...)})
	}
	return out
}

// Failed says what could not be taken; nil where all could.
func (m Merged) Failed() error {
	return errors.Join(notTaken(len(m.Conflicts), "both files have them, with different content"),
		notTaken(len(m.Bad), "they are damaged, or break the rules of import"))
}

func notTaken(n int, why string) error {
	switch n {
	case 0:
		return nil
	case 1:
		return fmt.Errorf("1 run of the other file could not be taken: %s", why)
	default:
		return fmt.Errorf("%d runs of the other file could not be taken: %s", n, why)
	}
}

// CheckDataFile tells why there is no data file to merge at a path, and what to do with
// what is there.
func CheckDataFile(path string) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("there is no file %s: name the sweepd.db of the other device, or its data folder", path)
	case err == nil && info.IsDir():
		if _, err := os.Stat(filepath.Join(path, dataFileName)); errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("the folder %s has no %s: name the data folder of the other device, or the file", path, dataFileName)
		}
	case err == nil && info.Mode().IsRegular():
		if is, err := isDataFile(path); is || err != nil {
			return nil
		}
		if slices.Contains([]string{".csv", ".tsv", ".txt"}, strings.ToLower(filepath.Ext(path))) {
			return fmt.Errorf("%s is not a data file of sweepd but a table: sweepd import %s", path, quoted(path))
		}
		return fmt.Errorf("%s is not a data file of sweepd: name the sweepd.db of the other device; a table of runs is taken over with `sweepd import`", path)
	}
	return nil // what else is wrong is told when it is opened
}

// dataFileName is that of the data file in a data folder.
const dataFileName = "sweepd.db"

// isDataFile tells whether a file begins as those of the database do
// (https://sqlite.org/fileformat2.html, 1.3.1).
func isDataFile(path string) (bool, error) {
	f, err := os.Open(path)
	if err != nil {
		return false, err
	}
	defer f.Close()
	const magic = "SQLite format 3\x00"
	head := make([]byte, len(magic))
	n, err := io.ReadFull(f, head)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return string(head[:n]) == magic, err
}
