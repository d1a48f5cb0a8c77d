package actuators

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
	"slices"
	"strconv"

	"sweepd/internal/ownfile"
)

// FirstValuesFile is the name of the file of first values in the data folder.
const FirstValuesFile = "first_values.journal"

// firstValuesHeader is the first line; another version has another one.
const firstValuesHeader = "sweepd first values, version 1\n"

// firstValuesRoom is the size that the file has from the beginning, some two hundred
// places, so that what is put back can be noted on a full disk too.
const firstValuesRoom = 64 << 10

// firstValuesMost is the largest file that is read.
const firstValuesMost = 4 << 20

// ErrOtherFile is returned for a file that is no journal of first values of this version.
// It is left as it is, and nothing is set.
var ErrOtherFile = errors.New("it has no first values of this version of sweepd")

// firstValuesFile is lines of text: what it is and its version, then entries, each with
// its CRC-32C. An entry is a write with the first value of its place, or says that a place
// is back. The file is made anew and exclusively, belongs to this user alone, and is taken
// away when nothing is left to put back. Whoever uses it has the turn.
type firstValuesFile struct {
	dir  string
	step func(string)

	file    *os.File // nil: not open
	info    fs.FileInfo
	end     int64 // of what is written, without a torn entry at the end
	damaged int   // entries that cannot be read, a torn one at the end aside
}

func (j *firstValuesFile) path() string { return filepath.Join(j.dir, FirstValuesFile) }

func (j *firstValuesFile) exists() bool {
	_, err := os.Lstat(j.path())
	return !errors.Is(err, fs.ErrNotExist)
}

// firstValuesEntry is a line.
type firstValuesEntry struct {
	First *Write `json:"first,omitempty"`
	Back  string `json:"back,omitempty"` // key of a place that has its first value again
}

// read opens the file and returns what it has; none where there is no file.
func (j *firstValuesFile) read() (places []*place, err error) {
	j.close()
	defer func() {
		if err != nil {
			j.close()
			err = fmt.Errorf("first values %s: %w", j.path(), err)
		}
	}()
	j.file, err = openOwn(j.path())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	if j.info, err = j.file.Stat(); err != nil {
		return nil, err
	}
	by, err := mayTrust(j.info)
	if err != nil {
		return nil, err
	}
	if j.info.Size() > firstValuesMost {
		return nil, fmt.Errorf("%w: look what it is", ErrOtherFile)
	}
	text, err := io.ReadAll(io.LimitReader(j.file, firstValuesMost))
	if err != nil {
		return nil, err
	}
	text = bytes.TrimRight(text, "\x00")
	switch {
	case bytes.HasPrefix(text, []byte(firstValuesHeader)):
	case bytes.HasPrefix([]byte(firstValuesHeader), text): // it was being made: nothing was written to
		j.end = 0
		return nil, nil
	default:
		return nil, fmt.Errorf("%w: go back to the version that wrote it, or look what it is", ErrOtherFile)
	}
	places, j.damaged, j.end = readFirstValues(text)
	for _, p := range places {
		p.earlier, p.by = true, by
	}
	return places, nil
}

// readFirstValues reads the lines after the header. The last one may be torn: then its
// place was not written to, and what comes next is written over it.
func readFirstValues(text []byte) (places []*place, damaged int, end int64) {
	at := len(firstValuesHeader)
	end = int64(at)
	torn := false
	for line := range bytes.Lines(text[at:]) {
		at += len(line)
		if line = bytes.Trim(line, "\x00\n"); len(line) == 0 {
			continue
		}
		if torn {
			damaged++
		}
		e, ok := parseFirstValue(line)
		if torn = !ok; torn {
			continue
		}
		end = int64(at)
		switch i := slices.IndexFunc(places, func(p *place) bool { return e.First != nil && key(p.w) == key(*e.First) }); {
		case i >= 0: // it is to be written to itself, too; the first value is the first one
			places[i].w.Text, places[i].w.Leeway = e.First.Text, e.First.Leeway
		case e.First != nil:
			places = append(places, &place{w: *e.First})
		default:
			places = slices.DeleteFunc(places, func(p *place) bool { return key(p.w) == e.Back })
		}
	}
	return places, damaged, end
}

func parseFirstValue(line []byte) (e firstValuesEntry, ok bool) {
	sum, text, found := bytes.Cut(line, []byte(" "))
	want, err := strconv.ParseUint(string(sum), 16, 32)
	if !found || len(sum) != 8 || err != nil || uint32(want) != crc32.Checksum(text, castagnoli) || json.Unmarshal(text, &e) != nil {
		return e, false
	}
	if e.First == nil {
		return e, e.Back != ""
	}
	return e, e.First.Path != "" || len(e.First.Back) > 0
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// add has first values on the disk when it returns.
func (j *firstValuesFile) add(places []*place) error {
	var entries []firstValuesEntry
	for _, p := range places {
		entries = append(entries, firstValuesEntry{First: &p.w})
	}
	return j.write(entries)
}

// drop has it on the disk that places are back.
func (j *firstValuesFile) drop(places []*place) error {
	var entries []firstValuesEntry
	for _, p := range places {
		entries = append(entries, firstValuesEntry{Back: key(p.w)})
	}
	return j.write(entries)
}

// write appends entries. Where it fails, the file has none of them.
func (j *firstValuesFile) write(entries []firstValuesEntry) (err error) {
	made := j.file == nil
	if made {
		if err := j.create(); err != nil {
			return err
		}
	}
	text := []byte("\n")
	if j.end == 0 { // new, or killed while it was being made
		text, made = []byte(firstValuesHeader), true
	}
	for _, e := range entries {
		line, err := json.Marshal(e)
		if err != nil {
			return err
		}
		text = fmt.Appendf(text, "%08x %s\n", crc32.Checksum(line, castagnoli), line)
	}
	end := j.end + int64(len(text))
	defer func() {
		if err != nil {
			j.takeBack(made)
		}
	}()
	now, err := os.Lstat(j.path())
	if err != nil {
		return err
	}
	if !os.SameFile(now, j.info) {
		return errors.New("it was moved or replaced while it was open")
	}
	if room := firstValuesRoom - int(end); room > 0 { // over what is torn, too
		text = append(text, make([]byte, room)...)
	}
	if _, err := j.file.WriteAt(text, j.end); err != nil {
		return err
	}
	j.step("file written")
	if err := j.file.Sync(); err != nil {
		return err
	}
	j.step("file on the disk")
	if made {
		if err := ownfile.SyncFolder(j.dir); err != nil {
			return err
		}
		j.step("folder on the disk")
	}
	j.end = end
	return nil
}

// takeBack leaves nothing of what could not be written: it might be taken for something
// that is on the disk.
func (j *firstValuesFile) takeBack(made bool) {
	if err := j.file.Truncate(j.end); made && err == nil {
		if now, err := os.Lstat(j.path()); err == nil && os.SameFile(now, j.info) {
			j.close()
			_ = os.Remove(j.path())
		}
	}
}

// create makes the file, which must not be there.
func (j *firstValuesFile) create() (err error) {
	j.file, err = os.OpenFile(j.path(), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	j.step("file made")
	j.end = 0
	if j.info, err = j.file.Stat(); err != nil {
		j.close()
	}
	return err
}

// remove takes the file away: nothing is left to put back. One with entries that nobody
// can read is kept under another name, for a person to look at.
func (j *firstValuesFile) remove() error {
	if j.file == nil {
		return nil
	}
	now, err := os.Lstat(j.path())
	if err == nil && !os.SameFile(now, j.info) {
		err = errors.New("it was moved or replaced while it was open")
	}
	j.close()
	if err == nil && j.damaged > 0 {
		err = os.Rename(j.path(), j.path()+".damaged")
	} else if err == nil {
		err = os.Remove(j.path())
	}
	if err != nil {
		return err
	}
	j.step("file removed")
	return ownfile.SyncFolder(j.dir)
}

func (j *firstValuesFile) close() {
	if j.file != nil {
		_ = j.file.Close() // all that counts was synced
	}
	j.file, j.info, j.end = nil, nil, 0
}
