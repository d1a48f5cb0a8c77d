package testday

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"sweepd/internal/ownfile"
	"sweepd/internal/userfile"
	"sweepd/run"
	"sweepd/schedule"
)

// handsOffFileName is the file of the day in the folder of the data.
const handsOffFileName = "hands_off.json"

// What the file says of a day.
const (
	going  = "going"
	paused = "paused"
	over   = "over"
)

// handsOffKept is what is kept of a day and of the consents, so that the next agent goes on
// with it. Progress is not: the runs that are stored tell it.
type handsOffKept struct {
	Consents []Consent `json:"consents"`

	Going    string        `json:"going"` // "" for no day
	Why      string        `json:"why"`
	Plan     int64         `json:"plan"`
	Device   string        `json:"device"`
	BegunAt  run.Timestamp `json:"begun_at"`
	By       string        `json:"by"`
	ElapsedS float64       `json:"elapsed_s"` // while it went on, not paused

	Skipped []skippedSlot `json:"skipped"`
	Cannot  []cannotSet   `json:"cannot"`
	Failed  []failedTries `json:"failed"`
	// ByHand is what hands set of the variant, and HandSetting of the setting, as far as it is known.
	ByHand      run.Variant `json:"by_hand"`
	HandSetting run.Setting `json:"hand_setting"`

	Hands      int `json:"hands"`
	Done       int `json:"done"`    // runs that count
	InVain     int `json:"in_vain"` // runs that do not
	Unverified int `json:"unverified"`
	// Doubted counts the runs that count and that something speaks against; Disobeyed names
	// the settings of those whose power was held otherwise than set.
	Doubted   int      `json:"doubted"`
	Disobeyed []string `json:"disobeyed"`
	InRow     int      `json:"in_row"`   // runs that came to nothing since one counted
	Restarts  int      `json:"restarts"` // since a run last came to an end

	// Tried are the runs of the plan that do not count, and TriedBefore those of before the day.
	Tried       int           `json:"tried"`
	TriedBefore int           `json:"tried_before"`
	HandText    string        `json:"hand_text"` // what a hand was needed for last, since a run
	SavedAt     run.Timestamp `json:"saved_at"`

	Progress schedule.Counts `json:"progress"`
	Slots    int             `json:"slots"`
	// Declared says that the day declared a setting, and Former what was declared before:
	// that is so again when the first values are back.
	Declared bool            `json:"declared"`
	Former   run.Declaration `json:"former"`

	Told    []Told   `json:"told"`
	Summary []string `json:"summary"`
}

// skippedSlot is a run of a cell that the day gives up. Runs fill the slots of their cell
// in order, so that it is the number of these that counts.
type skippedSlot struct {
	Position int      `json:"position"`
	Cell     run.Cell `json:"cell"`
	Why      string   `json:"why"`
}

// cannotSet is a value that the device does not take, or does not keep to.
type cannotSet struct {
	Key    string     `json:"key"`
	Value  string     `json:"value"`
	Supply run.Supply `json:"supply"` // "" for any
	Why    string     `json:"why"`
}

// failedTries counts what came to nothing: runs of a cell, or a value that was to be set.
type failedTries struct {
	What string `json:"what"`
	N    int    `json:"n"`
}

// consent is that of a device; nil for none.
func (k *handsOffKept) consent(device string) *Consent {
	for i := range k.Consents {
		if k.Consents[i].Device == device {
			return &k.Consents[i]
		}
	}
	return nil
}

// failed counts one more failure and says how many there were.
func (k *handsOffKept) failed(what string) int {
	for i := range k.Failed {
		if k.Failed[i].What == what {
			k.Failed[i].N++
			return k.Failed[i].N
		}
	}
	k.Failed = append(k.Failed, failedTries{what, 1})
	return 1
}

// failures is how many there were.
func (k *handsOffKept) failures(what string) int {
	for _, x := range k.Failed {
		if x.What == what {
			return x.N
		}
	}
	return 0
}

// workedAll forgets the failures of all that begins like this.
func (k *handsOffKept) workedAll(prefix string) {
	k.Failed = slices.DeleteFunc(k.Failed, func(x failedTries) bool { return strings.HasPrefix(x.What, prefix) })
}

// worked forgets failures.
func (k *handsOffKept) worked(what string) {
	k.Failed = slices.DeleteFunc(k.Failed, func(x failedTries) bool { return x.What == what })
}

// handsOffFile is how the file has it: the checksum (CRC-32, IEEE 802.3) is that of the
// bytes of Day.
type handsOffFile struct {
	Checksum uint32          `json:"checksum"`
	Day      json.RawMessage `json:"day"`
}

// readHandsOff reads the file of a folder; one that is damaged is set aside.
func readHandsOff(dir string) (k handsOffKept, err error) {
	path := filepath.Join(dir, handsOffFileName)
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return k, nil
	}
	if err != nil {
		return k, fmt.Errorf("the file of the day without hands cannot be read, so none goes on: %w", err)
	}
	var f handsOffFile
	if err = json.Unmarshal(text, &f); err == nil {
		if crc32.ChecksumIEEE(f.Day) != f.Checksum {
			err = errors.New("its checksum is wrong")
		} else {
			err = json.Unmarshal(f.Day, &k)
		}
	}
	if err == nil {
		return k, nil
	}
	aside := path + ".damaged"
	said := "it is set aside as " + aside
	if failed := os.Rename(path, aside); failed != nil {
		said = "it could not be set aside (" + failed.Error() + ")"
	}
	return handsOffKept{}, fmt.Errorf("%s is damaged, so no day goes on by itself, and consent has to be given again: %s; %w", path, said, err)
}

// save writes the file whole; on the disk when it returns.
func (d *HandsOffDay) save() error {
	d.saving.Lock()
	defer d.saving.Unlock()
	d.mu.Lock()
	d.countElapsedLocked()
	d.kept.SavedAt = run.Stamp(time.Now())
	day, err := json.Marshal(d.kept)
	d.mu.Unlock()
	if err != nil {
		return err
	}
	text, err := json.Marshal(handsOffFile{crc32.ChecksumIEEE(day), day})
	if err != nil {
		return err
	}
	path := filepath.Join(d.o.Dir, handsOffFileName)
	if err := userfile.Write(context.Background(), path, func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
		return err
	}
	return ownfile.SyncFolder(d.o.Dir)
}

// keep changes what is kept and saves it. A day whose file cannot be written goes on: its
// runs are stored, and the first values are kept apart.
func (d *HandsOffDay) keep(change func(*handsOffKept)) {
	d.mu.Lock()
	change(&d.kept)
	d.mu.Unlock()
	err := d.save()
	d.mu.Lock()
	told := d.unkept
	d.unkept = err != nil
	d.mu.Unlock()
	if err != nil && !told {
		d.tell("how the day stands could not be kept, so an agent that is started anew may not go on with it: %v", err)
	}
	d.o.Changed()
}
