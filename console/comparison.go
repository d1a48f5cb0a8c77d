package console

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"sync"
	"time"

	"sweepd/report"
	"sweepd/run"
	"sweepd/testday"
)

// asOfHeader says when a comparison was drawn.
const asOfHeader = "Sweepd-As-Of"

// kindRecording is that a run is recording, which what was asked for would disturb.
const kindRecording = "recording"

// comparison is the report of all that is kept, for whoever stands beside the device. It is
// seconds of work of one processor, so none is drawn on a device that is being measured:
// until its run has ended the last one is given.
type comparison struct {
	one sync.Mutex // held while one is drawn

	mu        sync.Mutex // guards what follows
	last      []byte     // an archive; nil: none was drawn since the agent started
	at        time.Time
	interrupt context.CancelFunc // ends the drawing; nil: none is under way
}

// hear ends the drawing where a run begins.
func (c *comparison) hear(e run.Event) {
	if e.Kind != run.RunStarted {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.interrupt != nil {
		c.interrupt()
	}
}

func (c *comparison) kept() ([]byte, time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.last, c.at
}

// draws notes what ends a drawing that begins (nil: it has ended).
func (c *comparison) draws(interrupt context.CancelFunc) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.interrupt = interrupt
}

func (c *comparison) keep(archive []byte, at time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.last, c.at = archive, at
}

// compared answers with the report of all that is kept.
func (h *handler) compared(w http.ResponseWriter, r *http.Request) {
	// Not supported: there is none.
	_ = http.NewResponseController(w).SetWriteDeadline(time.Time{})
	archive, at, damage, err := h.drawComparison(r.Context())
	if h.agent.Live().Recording != nil {
		archive, at = h.comparison.kept()
		if damage, err = nil, nil; archive == nil {
			writeProblem(w, http.StatusConflict, problem{Kind: kindRecording, Error: "A run is recording. What was measured is compared when it has ended, so that nothing disturbs it."})
			return
		}
	}
	if errors.Is(err, report.ErrNothing) {
		err = errors.New("Nothing to compare yet: no run that counts has ended")
	}
	if err != nil {
		h.failOperation(w, r, err)
		return
	}
	w.Header().Set(asOfHeader, run.Stamp(at).Format(time.RFC3339))
	out := &download{w: w, c: http.NewResponseController(w), kind: testday.Archive}
	_, _ = out.Write(archive) // a client that hung up is its own affair
	out.end(damage, nil)
}

// drawComparison draws a new one, unless a run is recording or begins meanwhile.
func (h *handler) drawComparison(ctx context.Context) (archive []byte, at time.Time, damage, err error) {
	c := &h.comparison
	c.one.Lock()
	defer c.one.Unlock()
	ctx, end := context.WithCancel(ctx)
	defer end()
	c.draws(end)
	defer c.draws(nil)
	if h.agent.Live().Recording != nil || ctx.Err() != nil {
		return nil, at, nil, ctx.Err()
	}
	var out bytes.Buffer
	at = time.Now()
	_, damage, err = h.run(ctx, h.day(at, nil, &out), testday.DrawReport, &testday.ReportQuestion{})
	if err == nil {
		c.keep(out.Bytes(), at)
	}
	return out.Bytes(), at, damage, err
}
