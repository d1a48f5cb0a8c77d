package run

import (
	"crypto/rand"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
)

// NewID makes a run's id: a UUID of version 7 (RFC 9562, 5.7), which begins with
// the time in milliseconds, so that ids sort by start, and ends in random bits,
// so that they are unique across devices. random is nil for the system's.
func NewID(start time.Time, random io.Reader) (string, error) {
	if random == nil {
		random = rand.Reader
	}
	var id uuid.UUID
	if _, err := io.ReadFull(random, id[6:]); err != nil {
		return "", fmt.Errorf("make a run id: %w", err)
	}
	ms := uint64(start.UnixMilli())
	for i := range 6 {
		id[i] = byte(ms >> (40 - 8*i))
	}
	id[6] = id[6]&0x0f | 0x70
	id[8] = id[8]&0x3f | 0x80
	return id.String(), nil
}

// ShortID is the end of a run's id, which is random and so tells runs of one
// day apart.
func ShortID(id string) string {
	if len(id) <= ShortIDLength {
		return id
	}
	return id[len(id)-ShortIDLength:]
}

const (
	// ShortIDLength is that of a ShortID, in bytes.
	ShortIDLength = 8
	// MinIDPart is the shortest beginning or end of a whole id that names a run.
	MinIDPart = 4
)

// NamedBy tells whether a text names the run of an id: any part of its ShortID, or a
// beginning or end of the whole id that is not too short; letters of either case.
func NamedBy(id, text string) bool {
	whole, part := strings.ToLower(id), strings.ToLower(text)
	return part != "" && (strings.Contains(ShortID(whole), part) ||
		len(part) >= MinIDPart && (strings.HasPrefix(whole, part) || strings.HasSuffix(whole, part)))
}

// NoRun is ErrNoRun of a text that names no run, and says what does.
func NoRun(text string) error {
	if text != "" && (Near(text, []string{Last}) != "" || slices.Contains([]string{"latest", "newest", "previous", "current"}, strings.ToLower(text))) {
		return fmt.Errorf("run %q: %w: the run that was recorded last is called %q", text, ErrNoRun, Last)
	}
	return fmt.Errorf("run %q: %w: `sweepd run list` lists them, and %q is the one recorded last", text, ErrNoRun, Last)
}
