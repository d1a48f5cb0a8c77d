package sqlite

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
)

// ErrDamaged is returned where something kept does not have the checksum that it was
// stored with, or is gone.
var ErrDamaged = errors.New("damaged data")

var errChecksum = fmt.Errorf("do not have the checksum they were stored with: %w", ErrDamaged)

// damage gathers what a store found damaged as it was read.
type damage struct {
	mu    sync.Mutex
	found []string
	tell  func(what string)
}

// notice keeps in mind that something that was read is damaged.
func (s *Store) notice(what string) {
	s.damage.mu.Lock()
	defer s.damage.mu.Unlock()
	if slices.Contains(s.damage.found, what) {
		return
	}
	s.damage.found = append(s.damage.found, what)
	if s.damage.tell != nil {
		s.damage.tell(what)
	}
}

// shownDamages is how many damaged things an error names.
const shownDamages = 5

// Damage is nil where all that was read since the store was opened had the checksums that
// it was stored with. Otherwise it is an ErrDamaged that names what had not, and was left
// out or marked.
func (s *Store) Damage() error {
	s.damage.mu.Lock()
	defer s.damage.mu.Unlock()
	found, more := s.damage.found, ""
	if len(found) == 0 {
		return nil
	}
	if n := len(found) - shownDamages; n > 0 {
		found, more = found[:shownDamages], fmt.Sprintf(" and %d more", n)
	}
	return s.fail("reading", fmt.Errorf("%w: %s%s", ErrDamaged, strings.Join(found, ", "), more))
}
