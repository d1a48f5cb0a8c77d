package agent

import (
	"context"
	"maps"

	"sweepd/run"
)

// factsReading is what the machine says of itself for a run that begins. Its facts may be
// read once done is closed.
type factsReading struct {
	done  chan struct{}
	facts map[string]string
}

// askFacts has the facts read. Nobody waits for them but who looks at done.
func (a *Agent) askFacts() *factsReading {
	r := &factsReading{done: make(chan struct{})}
	switch {
	case a.opts.Facts == nil:
		close(r.done)
	case a.opts.Stepped:
		r.facts = a.opts.Facts()
		close(r.done)
	default:
		offer(a.factsRequests, r) // where the lane is held up and another waits already, they are never read
	}
	return r
}

// factsLane reads facts on a goroutine of its own: some come from a controller that takes
// its time, and neither a run's start nor its sweeps wait for it.
func (a *Agent) factsLane(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case r := <-a.factsRequests:
			r.facts = a.opts.Facts()
			close(r.done)
			_ = a.do(ctx, func() error { a.lateFacts(r); return nil }) // fails only where the agent ends
		}
	}
}

// lateFacts gives the run in progress the facts that it could not wait for.
func (a *Agent) lateFacts(r *factsReading) {
	if a.run != nil && a.run.awaits == r {
		a.run.awaits = nil
		a.run.record.Facts = factsOf(r.facts, a.run.typed)
	}
}

// factsOf are the facts that were read and those that a person typed, which count where
// there are both.
func factsOf(read map[string]string, typed run.Typed) map[string]string {
	facts := map[string]string{}
	maps.Copy(facts, read)
	for key, value := range typed {
		if value != "" {
			facts[key] = value
		}
	}
	return facts
}
