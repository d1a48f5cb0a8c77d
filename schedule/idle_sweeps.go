package schedule

import (
	"context"
	"fmt"
	"math/bits"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
	"go.uber.org/zap"
)

// DefaultIdleSweeps is when an idle device is swept unless the configuration says.
const DefaultIdleSweeps = "@every 10s"

// Limits of the time between two idle sweeps.
const (
	MinIdleInterval = time.Second
	MaxIdleInterval = time.Hour
)

// Sweeper is asked for idle sweeps; *agent.Agent is one.
type Sweeper interface {
	SweepIdle(ctx context.Context) error
}

// parser reads the five fields of cron, a sixth for seconds before them, and
// descriptors such as "@every 10s".
var parser = cron.NewParser(cron.SecondOptional | cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow | cron.Descriptor)

// ParseIdleSweeps reads when to sweep an idle device: a cron expression, with an
// optional leading field for seconds, or a descriptor such as "@every 10s". The time
// between two sweeps must be 1 s to 1 h, at any time of the week.
func ParseIdleSweeps(spec string) (cron.Schedule, error) {
	// The library rounds "@every 200ms" to a second without a word.
	if text, ok := strings.CutPrefix(spec, "@every "); ok {
		d, err := time.ParseDuration(text)
		if err != nil {
			return nil, fmt.Errorf("%q: %q is no time such as 10s or 2m", spec, text)
		}
		if d < MinIdleInterval || d > MaxIdleInterval {
			return nil, fmt.Errorf("%q: %v is not between 1 s and 1 h", spec, d)
		}
	}
	s, err := parser.Parse(spec)
	if err != nil {
		return nil, fmt.Errorf("%q is neither a cron expression nor like \"@every 10s\": %w", spec, err)
	}
	if gap := longestGap(s); gap > MaxIdleInterval {
		return nil, fmt.Errorf("%q leaves %v without a sweep: at most 1 h is allowed", spec, gap)
	}
	return s, nil
}

// longestGap is the longest time between two sweeps of a schedule in a week without a
// clock change, or the first one found that is too long. Of each minute only the first
// second that is due counts, which is enough to find an hour without any.
func longestGap(s cron.Schedule) time.Duration {
	if spec, ok := s.(*cron.SpecSchedule); ok {
		byMinute := *spec
		byMinute.Second = 1 << bits.TrailingZeros64(spec.Second)
		s = &byMinute
	}
	at := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	end := at.AddDate(0, 0, 7)
	longest := time.Duration(0)
	for at.Before(end) && longest <= MaxIdleInterval {
		next := s.Next(at)
		if next.IsZero() { // a date that never comes
			return end.Sub(at)
		}
		longest = max(longest, next.Sub(at))
		at = next
	}
	return longest
}

// IdleSweeps asks an agent for idle sweeps when they are due.
type IdleSweeps struct {
	cron *cron.Cron
	stop context.CancelFunc
}

// StartIdleSweeps asks for idle sweeps by the schedule (DefaultIdleSweeps where it is
// empty) until Stop. A sweep that fails or panics is logged, and the next one is asked
// for all the same; one that is due while the last is still in progress is left out.
func StartIdleSweeps(spec string, sweeper Sweeper, log *zap.Logger) (*IdleSweeps, error) {
	if spec == "" {
		spec = DefaultIdleSweeps
	}
	s, err := ParseIdleSweeps(spec)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	logger := cronLog{log.Sugar()}
	// Both wrappers are passed in: the library's default has neither, and a
	// panicking job would end the process. Recover is the inner one: a panic
	// that passes through SkipIfStillRunning (v3.0.1) leaves it skipping for
	// ever.
	c := cron.New(cron.WithLogger(logger), cron.WithChain(cron.SkipIfStillRunning(logger), cron.Recover(logger)))
	c.Schedule(s, cron.FuncJob(func() {
		if err := sweeper.SweepIdle(ctx); err != nil && ctx.Err() == nil {
			log.Error("idle sweep failed", zap.Error(err))
		}
	}))
	c.Start()
	return &IdleSweeps{cron: c, stop: cancel}, nil
}

// Stop asks for no further sweep and waits for one in progress. Calling it twice is
// harmless.
func (i *IdleSweeps) Stop() {
	i.stop()
	<-i.cron.Stop().Done()
}

// cronLog writes the library's messages to the log. What it calls information (every
// wake-up) is of interest in debugging only.
type cronLog struct{ log *zap.SugaredLogger }

func (l cronLog) Info(msg string, pairs ...any) { l.log.Debugw("cron: "+msg, pairs...) }

func (l cronLog) Error(err error, msg string, pairs ...any) {
	l.log.Errorw("cron: "+msg, append(pairs, "error", err)...)
}
