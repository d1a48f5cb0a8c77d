package console

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"sweepd/run"
)

// pairedName is the file of the tokens of phones in the folder of the data.
const pairedName = "console.phones.json"

const (
	mostPaired  = 50        // phones
	maxPaired   = 256 << 10 // bytes of the file
	seenIsStale = time.Hour // how old what the file says of a phone's last visit may be
)

// PairedPhone is a browser that may ask this agent from elsewhere.
type PairedPhone struct {
	ID       string        `json:"id"`
	Name     string        `json:"name"`
	Program  bool          `json:"program"` // it is no browser
	PairedAt run.Timestamp `json:"paired_at"`
	SeenAt   run.Timestamp `json:"seen_at"` // within the hour
}

// keptPhone is a phone as the file has it: of its token there is only the hash. The token
// has 128 random bits, so that a plain hash gives nothing away.
type keptPhone struct {
	PairedPhone
	Hash string `json:"sha256"`
}

// Paired are the phones that were paired, kept in a file that its owner alone may read. The
// zero value has none, and takes none.
type Paired struct {
	path string

	mu   sync.Mutex
	list []keptPhone
}

// OpenPaired reads the phones that were paired with the agent of a folder.
func OpenPaired(dir string) (*Paired, error) {
	p := &Paired{path: filepath.Join(dir, pairedName)}
	text, err := os.ReadFile(p.path)
	if errors.Is(err, fs.ErrNotExist) {
		return p, nil
	}
	if err == nil && len(text) > maxPaired {
		err = fmt.Errorf("it has more than %d bytes", maxPaired)
	}
	if err == nil {
		err = json.Unmarshal(text, &p.list)
	}
	if err != nil {
		return nil, fmt.Errorf("the phones that were paired (%s): %w; remove the file, and pair them again", p.path, err)
	}
	return p, nil
}

var errTooManyPhones = fmt.Errorf("%d phones are paired: revoke one (sweepd console revoke NAME)", mostPaired)

// add pairs a phone and returns its token, which is kept nowhere.
func (p *Paired) add(name string, program bool, now time.Time) (token string, phone PairedPhone, err error) {
	if p == nil || p.path == "" {
		return "", phone, errors.New("this agent has no folder to keep phones in")
	}
	token = rand.Text()
	k := keptPhone{PairedPhone{ID: strings.ToLower(rand.Text()[:10]), Name: name, Program: program, PairedAt: run.Stamp(now), SeenAt: run.Stamp(now)}, hashOf(token)}
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.list) >= mostPaired {
		return "", phone, errTooManyPhones
	}
	if err := p.keepLocked(append(slices.Clip(p.list), k)); err != nil {
		return "", phone, err
	}
	return token, k.PairedPhone, nil
}

// find tells whose token it is: one that a program was given is no phone's. All hashes are compared, in a time that tells nothing of them.
func (p *Paired) find(token string, program bool, now time.Time) (id string, found bool) {
	if p == nil || token == "" {
		return "", false
	}
	hash := []byte(hashOf(token))
	p.mu.Lock()
	defer p.mu.Unlock()
	at := -1
	for i := range p.list {
		if subtle.ConstantTimeCompare(hash, []byte(p.list[i].Hash)) == 1 && p.list[i].Program == program {
			at = i
		}
	}
	if at < 0 {
		return "", false
	}
	if k := &p.list[at]; now.Sub(k.SeenAt.Time) > seenIsStale {
		list := slices.Clone(p.list)
		list[at].SeenAt = run.Stamp(now)
		_ = p.keepLocked(list) // it is a help, no more
	}
	return p.list[at].ID, true
}

// phones lists them, the oldest first.
func (p *Paired) phones() []PairedPhone {
	list := []PairedPhone{}
	if p == nil {
		return list
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, k := range p.list {
		list = append(list, k.PairedPhone)
	}
	return list
}

// name is that of the phone with an id, "" where there is none.
func (p *Paired) name(id string) string {
	for _, x := range p.phones() {
		if x.ID == id {
			return x.Name
		}
	}
	return ""
}

var errNoPhone = errors.New("no such phone is paired")

// revoke takes a phone its token. It is named by its id.
func (p *Paired) revoke(id string) (PairedPhone, error) {
	if p == nil {
		return PairedPhone{}, errNoPhone
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for i, k := range p.list {
		if k.ID == id {
			return k.PairedPhone, p.keepLocked(slices.Delete(slices.Clone(p.list), i, i+1))
		}
	}
	return PairedPhone{}, fmt.Errorf("%w: %s", errNoPhone, run.Shorten(id))
}

// keepLocked writes the file whole, for its owner alone.
func (p *Paired) keepLocked(list []keptPhone) error {
	text, err := json.MarshalIndent(list, "", " ")
	if err != nil {
		return err
	}
	next := p.path + ".new"
	f, err := newFile(next)
	if err != nil {
		return fmt.Errorf("the phones that were paired: %w", err)
	}
	_, err = bytes.NewReader(append(text, '\n')).WriteTo(f)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(next, p.path)
	}
	if err != nil {
		return fmt.Errorf("the phones that were paired: %w", err)
	}
	p.list = list
	return nil
}

func hashOf(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}
