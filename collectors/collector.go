package collectors

import (
	"time"

	"sweepd/run"
)

// Probe reads what belongs together: one battery, one temperature channel.
// A probe is used by one goroutine at a time.
type Probe interface {
	// Read stores one value for each sensor of the probe's offer in dst, in
	// order, NaN where it could not be had. now is the monotonic time of the
	// sweep; probes that form rates use it and nothing else. Read does not
	// allocate while its sources are well.
	//
	// The error says why something is missing (the first cause where there are
	// several), a *ReadError where a file is at fault; readings that could be
	// had are stored all the same. While the cause stays the same, the same
	// error value is returned. A rate that has nothing to tell yet is NaN
	// without an error.
	Read(now time.Duration, dst []float64) error
	Close() error
}

// Offer is a probe that a collector could open.
type Offer struct {
	// Sensors are what the probe would read. Their IDs and Instances are the
	// offer's identity: an offer with the same ones takes the place of a
	// probe that vanished.
	Sensors []run.Sensor
	// MinInterval is the shortest useful time between two reads: a second for
	// batteries, which the kernel caches that long and whose reading may wake
	// an embedded controller. 0 means every sweep. Probes with an interval are
	// read off the pacing path.
	MinInterval time.Duration
	// Open opens the probe's files. An error satisfies errors.Is with
	// fs.ErrPermission or fs.ErrNotExist where that is the cause.
	Open func() (Probe, error)
	// Remedy is what the user can do where Open is refused for lack of
	// permission. Empty where the general advice is the best.
	Remedy string
}

// Absence is a source that a user may expect and this machine does not offer.
type Absence struct {
	Collector string
	Source    string // path, pattern or call
	Why       string // "no such driver", "permission denied"
	Remedy    string // what the user can do; empty when nothing can be done
}

// Collector finds the sources of one kind.
type Collector interface {
	// Name is the collector's value of the label "collector" in metrics.
	Name() string
	// Scan looks at what is there now. It opens nothing that it keeps open and
	// is called again every few seconds, so it lists folders rather than reads
	// values. Absences says what was looked for in vain.
	Scan() (offers []Offer, absences []Absence)
}
