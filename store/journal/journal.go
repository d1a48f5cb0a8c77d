// Package journal keeps runs that ended and that no store took, in a small file beside
// the data, so that they outlive the agent.
//
// The file is lines of text: what it is and its version, then entries, each with a
// checksum. An entry is a run as it is kept, which takes the place of the one before of
// the same run, or says that it was stored. Every write is on disk before it counts. An
// entry that is torn or damaged takes no other with it. Room is taken beforehand, so that
// a full disk can still be written to. The file is made anew and exclusively, and no link
// in its place is followed.
package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"sync"

	"sweepd/internal/ownfile"
	"sweepd/run"
)

// FileName is the journal's name in the data folder.
const FileName = "agent.journal"

// header is the first line; another version has another one.
const header = "sweepd journal of ended runs, version 1\n"

// room is the size that the file has from the beginning: that of some twenty runs.
const room = 64 << 10

// maxSize is the largest file that is read: far more than a day's runs.
const maxSize = 16 << 20

// ErrOtherFile is returned for a file that is no journal of this version. It is left as
// it is.
var ErrOtherFile = errors.New("not a journal of this version of sweepd")

// Journal is an open file.
type Journal struct {
	path string

	mu   sync.Mutex // guards the rest
	file *os.File
	info fs.FileInfo
	end  int64 // of what is written
	runs map[string]bool
}

// Open opens the journal in a folder, or makes it, and reads what the agent before left.
// torn is how many entries cannot be read. What is read is in the file until Stored.
func Open(dir string) (j *Journal, left []run.Ended, torn int, err error) {
	j = &Journal{path: filepath.Join(dir, FileName), runs: map[string]bool{}}
	if left, torn, err = j.open(); err != nil {
		if j.file != nil {
			err = errors.Join(err, j.file.Close())
		}
		return nil, nil, 0, fmt.Errorf("journal %s: %w", j.path, err)
	}
	for i := range left {
		j.runs[left[i].Record.ID] = true
	}
	return j, left, torn, nil
}

// Path is the file's.
func (j *Journal) Path() string { return j.path }

func (j *Journal) open() (left []run.Ended, torn int, err error) {
	j.file, err = os.OpenFile(j.path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666) // less the umask
	if err == nil {
		return nil, 0, errors.Join(j.share(), j.begin())
	}
	if !errors.Is(err, fs.ErrExist) {
		return nil, 0, err
	}
	if j.file, err = ownfile.Open(j.path); err != nil {
		return nil, 0, err
	}
	if j.info, err = j.file.Stat(); err != nil {
		return nil, 0, err
	}
	if !j.info.Mode().IsRegular() || j.info.Size() > maxSize {
		return nil, 0, fmt.Errorf("%w: take it away", ErrOtherFile)
	}
	text, err := io.ReadAll(io.LimitReader(j.file, maxSize))
	if err != nil {
		return nil, 0, err
	}
	text = bytes.TrimRight(text, "\x00")
	switch {
	case bytes.HasPrefix(text, []byte(header)):
	case bytes.HasPrefix([]byte(header), text): // it was being made
		return nil, 0, j.begin()
	default:
		return nil, 0, fmt.Errorf("%w: take it away, or go back to the version that wrote it", ErrOtherFile)
	}
	j.end = int64(len(text))
	left, torn = read(text[len(header):])
	return left, torn, nil
}

// share lets the group write the file where the folder hands its group down (the
// set-group-ID bit), as the data file does.
func (j *Journal) share() error {
	folder, err := os.Stat(filepath.Dir(j.path))
	if err == nil && folder.Mode()&fs.ModeSetgid != 0 {
		err = j.file.Chmod(0o660)
	}
	return err
}

// begin makes the file an empty journal with room.
func (j *Journal) begin() error {
	_, err := j.file.WriteAt(append([]byte(header), make([]byte, room-len(header))...), 0)
	if err == nil {
		err = j.file.Sync()
	}
	if err == nil {
		err = ownfile.SyncFolder(filepath.Dir(j.path))
	}
	if err == nil {
		j.info, err = j.file.Stat()
	}
	j.end = int64(len(header))
	return err
}

// entry is a line of the file.
type entry struct {
	Ended  *ended `json:"ended,omitempty"`
	Stored string `json:"stored,omitempty"` // the id of a run that was stored since
}

// ended is a run.Ended as the file has it.
type ended struct {
	Run         run.Record   `json:"run"`
	Corrections []correction `json:"corrections,omitempty"`
	Sweeps      int          `json:"sweeps"`
	Lost        []run.Loss   `json:"lost,omitempty"`
}

type correction struct {
	Results  map[string]result         `json:"results,omitempty"`
	Findings map[run.Code]*run.Finding `json:"findings,omitempty"`
	Decision run.Decision              `json:"decision,omitempty"`
	Why      string                    `json:"why,omitempty"`
	At       run.Timestamp             `json:"at"`
}

type result struct {
	run.Result
	KeepBetter bool `json:"keep_better,omitempty"`
}

// Keep keeps a run, in the place of what was kept of it before. It is on disk when Keep
// returns.
func (j *Journal) Keep(e *run.Ended) error {
	x := ended{Run: e.Record, Sweeps: e.Sweeps, Lost: e.Lost}
	for _, c := range e.Corrections {
		y := correction{Findings: c.Findings, Decision: c.Decision, Why: c.Why, At: run.Stamp(c.At), Results: map[string]result{}}
		for name, r := range c.Results {
			y.Results[name] = result{r.Result, r.KeepBetter}
		}
		x.Corrections = append(x.Corrections, y)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	err := j.writeLocked(entry{Ended: &x})
	if err == nil {
		j.runs[e.Record.ID] = true
	}
	return err
}

// Stored takes a run out, which a store has now.
func (j *Journal) Stored(id string) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if !j.runs[id] {
		return nil
	}
	if err := j.writeLocked(entry{Stored: id}); err != nil {
		return err
	}
	delete(j.runs, id)
	if len(j.runs) > 0 || j.end <= room/2 {
		return nil
	}
	return j.emptyLocked()
}

// emptyLocked makes room again. Where it is torn, what was there was stored.
func (j *Journal) emptyLocked() error {
	if err := j.file.Truncate(int64(len(header))); err != nil {
		return fmt.Errorf("journal %s: %w", j.path, err)
	}
	return j.wrapped(j.begin())
}

func (j *Journal) wrapped(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("journal %s: %w", j.path, err)
}

func (j *Journal) writeLocked(e entry) error {
	text, err := json.Marshal(e)
	if err != nil {
		return j.wrapped(err)
	}
	now, err := os.Lstat(j.path)
	if err != nil {
		return err
	}
	if !os.SameFile(now, j.info) {
		return j.wrapped(errors.New("it was moved or replaced while it was open"))
	}
	// The line before may have been torn.
	line := fmt.Appendf(nil, "\n%08x %s\n", checksum(text), text)
	if _, err := j.file.WriteAt(line, j.end); err != nil {
		return j.wrapped(err)
	}
	if err := j.file.Sync(); err != nil {
		return j.wrapped(err)
	}
	j.end += int64(len(line))
	return nil
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func checksum(text []byte) uint32 { return crc32.Checksum(text, castagnoli) }

// read reads the lines after the header.
func read(text []byte) (left []run.Ended, torn int) {
	for line := range bytes.SplitSeq(text, []byte("\n")) {
		if line = bytes.Trim(line, "\x00"); len(line) == 0 {
			continue
		}
		e, ok := parse(line)
		if !ok {
			torn++
			continue
		}
		id := e.Stored
		if e.Ended != nil {
			id = e.Ended.Run.ID
		}
		kept := left[:0]
		for _, x := range left {
			if x.Record.ID != id {
				kept = append(kept, x)
			}
		}
		if left = kept; e.Ended != nil {
			left = append(left, e.Ended.ended())
		}
	}
	return left, torn
}

func parse(line []byte) (e entry, ok bool) {
	sum, text, found := bytes.Cut(line, []byte(" "))
	want, err := strconv.ParseUint(string(sum), 16, 32)
	if !found || len(sum) != 8 || err != nil || uint32(want) != checksum(text) || json.Unmarshal(text, &e) != nil {
		return e, false
	}
	if e.Ended == nil {
		return e, e.Stored != ""
	}
	return e, e.Ended.check() == nil
}

// check tells why a run cannot be stored: a checksum keeps accidents out, not strangers.
func (x *ended) check() error {
	if x.Run.State == run.Recording || x.Run.DurationS == nil || x.Run.StartedAt.IsZero() {
		return errors.New("the run has not ended")
	}
	errs := []error{x.Run.Check(), run.CheckLabel("device", x.Run.Device), run.CheckLabel("workload", x.Run.Workload)}
	e := x.ended()
	for _, c := range e.Corrections {
		errs = append(errs, c.Check())
	}
	return errors.Join(errs...)
}

func (x *ended) ended() run.Ended {
	e := run.Ended{Record: x.Run, Sweeps: x.Sweeps, Lost: x.Lost}
	for _, y := range x.Corrections {
		c := run.Correction{Findings: y.Findings, Decision: y.Decision, Why: y.Why, At: y.At.Time, Results: map[string]run.NewResult{}}
		for name, r := range y.Results {
			c.Results[name] = run.NewResult{Result: r.Result, KeepBetter: r.KeepBetter}
		}
		e.Corrections = append(e.Corrections, c)
	}
	return e
}

// Close closes the file, and takes it away where nothing is kept in it.
func (j *Journal) Close() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.file == nil {
		return nil
	}
	err := j.file.Close()
	j.file = nil
	now, e := os.Lstat(j.path)
	if e == nil && len(j.runs) == 0 && os.SameFile(now, j.info) {
		err = errors.Join(err, os.Remove(j.path))
	}
	return j.wrapped(err)
}
