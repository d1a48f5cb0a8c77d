package console

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"time"

	"go.uber.org/zap"

	"sweepd/run"
	"sweepd/testday"
)

// kindNoHandsOff is that the agent does no plan by itself.
const kindNoHandsOff = "no_hands_off"

// noHandsOff says what would be needed.
const noHandsOff = "this agent does no plan by itself: name what it may set, with limits, under hands_off: in its configuration, and the commands of workloads under workloads:, and start it again"

// handsOffOperations are those of a day without hands.
func (h *handler) handsOffOperations() []liveOperation {
	type about = testday.About
	none := new(testday.Nothing)
	begin := func() *testday.BeginHandsOff { return new(testday.BeginHandsOff) }
	request := func() *testday.HandsOffRequest { return new(testday.HandsOffRequest) }
	day := new(testday.HandsOff)
	return []liveOperation{
		{about{Method: "GET", Path: "/plan/run", Summary: "Says how the day without hands stands."}, none, day, h.handsOff, false},
		{about{Method: "POST", Path: "/plan/run", Summary: "Has the agent do the plan by itself, or go on with it; of the kind consent is the problem where nobody agreed yet.", Needs: testday.NeedsRight}, begin(), day, h.beginHandsOff, true},
		{about{Method: "POST", Path: "/plan/run/dry", Summary: "Says what a day without hands would write where; nothing is written.", Needs: testday.NeedsRight}, begin(), new(testday.DryRun), h.dryRun, false},
		{about{Method: "POST", Path: "/plan/run/pause", Summary: "Pauses the day after the run in progress; what was set is put back meanwhile."}, request(), day, h.asked(testday.HandsOffAgent.PauseHandsOff), false},
		{about{Method: "POST", Path: "/plan/run/resume", Summary: "Goes on with a day that is paused.", Needs: testday.NeedsRight}, request(), day, h.resumeHandsOff, false},
		{about{Method: "POST", Path: "/plan/run/stop", Summary: "Ends the day after the run in progress, or at once with now: then that run is rejected."}, request(), day, h.asked(testday.HandsOffAgent.StopHandsOff), false},
		{about{Method: "POST", Path: "/plan/run/beat", Summary: "Is a runner's, which carries out workloads: it says what it does and is told what to do, within a second while it has a job. Needs a proof of the right, in " + proofHeader + ", and gives one; on this device alone."}, new(testday.Beat), new(testday.Order), h.beat, false},
	}
}

// doesPlans tells whether the agent does plans by itself; where not, it answers.
func (h *handler) doesPlans(w http.ResponseWriter) bool {
	if h.HandsOff == nil {
		writeProblem(w, http.StatusNotFound, problem{Kind: kindNoHandsOff, Error: noHandsOff})
	}
	return h.HandsOff != nil
}

func (h *handler) handsOff(w http.ResponseWriter, r *http.Request) {
	if h.doesPlans(w) {
		day, err := h.HandsOff.HandsOff(r.Context())
		h.answer(w, r, day, err)
	}
}

func (h *handler) beginHandsOff(w http.ResponseWriter, r *http.Request) {
	if q, ok := h.readBegin(w, r); ok {
		day, err := h.HandsOff.BeginHandsOff(r.Context(), q)
		h.answerDay(w, r, day, err)
	}
}

func (h *handler) dryRun(w http.ResponseWriter, r *http.Request) {
	q, ok := h.readBegin(w, r)
	if !ok {
		return
	}
	dry, err := h.HandsOff.DryRunHandsOff(r.Context(), q)
	if err != nil {
		h.failOperation(w, r, err)
		return
	}
	writeJSON(w, dry)
}

// readBegin reads the request of a day by somebody who may ask for one. Where it cannot be
// done, it answers.
func (h *handler) readBegin(w http.ResponseWriter, r *http.Request) (q testday.BeginHandsOff, ok bool) {
	if !readJSON(w, r, &q) || !h.doesPlans(w) || !h.entitled(w, r) {
		return q, false
	}
	q.By, ok = h.asksFor(w, r, q.By, "")
	return q, ok
}

// resumeHandsOff has limits raised again, as the beginning has, so it needs the same right.
func (h *handler) resumeHandsOff(w http.ResponseWriter, r *http.Request) {
	if h.doesPlans(w) && h.entitled(w, r) {
		h.asked(testday.HandsOffAgent.ResumeHandsOff)(w, r)
	}
}

// asked handles what everybody may ask of a day: what ends it, or keeps it from going on.
func (h *handler) asked(do func(testday.HandsOffAgent, context.Context, testday.HandsOffRequest) (testday.HandsOff, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		var q testday.HandsOffRequest
		if !readJSON(w, r, &q) || !h.doesPlans(w) {
			return
		}
		var ok bool
		if q.By, ok = h.asksFor(w, r, q.By, q.Why); ok {
			day, err := do(h.HandsOff, r.Context(), q)
			h.answerDay(w, r, day, err)
		}
	}
}

// asksFor is what asks, from where. What it says of itself and why may be kept for long and
// shown everywhere; where that cannot be, it answers.
func (h *handler) asksFor(w http.ResponseWriter, r *http.Request, by, why string) (string, bool) {
	by = cmp.Or(by, testday.ByAPI)
	err := run.CheckLabel("by", by)
	if err == nil && why != "" {
		err = run.CheckLabel("why", why)
	}
	if err != nil {
		writeProblem(w, http.StatusBadRequest, problem{Kind: kindRequest, Error: err.Error()})
	}
	return h.asks(r, by), err == nil
}

func (h *handler) answerDay(w http.ResponseWriter, r *http.Request, day testday.HandsOff, err error) {
	h.watchers.wakeUp()
	if err != nil {
		h.failOperation(w, r, err)
		return
	}
	writeJSON(w, day)
}

// beat hears of a runner, which proves that it has the right, and proves to it that this
// is the agent that gave it: both carry out what the other one says.
func (h *handler) beat(w http.ResponseWriter, r *http.Request) {
	if whoAsks(r) != "" {
		writeProblem(w, http.StatusForbidden, problem{Kind: kindElsewhere, Error: "workloads are carried out on the device itself: sweepd plan runner"})
		return
	}
	if !h.doesPlans(w) {
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	if err != nil {
		refuseJSON(w, r, err)
		return
	}
	nonce := r.Header.Get(nonceHeader)
	if !h.Token.proves(r.Header.Get(proofHeader), ofRunner, nonce, body) {
		h.Log.Debug("refused: no proof of the right", zap.String("path", r.URL.Path))
		writeProblem(w, http.StatusForbidden, problem{Kind: kindNoRight, Error: "a runner carries out what this agent says, which needs a proof of the token in the file " + h.Token.Path()})
		return
	}
	var b testday.Beat
	if err := decodeJSON(bytes.NewReader(body), &b); err != nil {
		refuseJSON(w, r, err)
		return
	}
	c := http.NewResponseController(w)
	if err := errors.Join(c.SetReadDeadline(time.Time{}), c.SetWriteDeadline(time.Time{})); err != nil && !errors.Is(err, http.ErrNotSupported) {
		h.fail(w, r, err)
		return
	}
	ctx, cancel := untilStopping(r.Context())
	defer cancel()
	order, err := h.HandsOff.RunnerBeat(ctx, b)
	switch {
	case r.Context().Err() != nil: // the runner hung up, to say something
		return
	case ctx.Err() != nil: // this agent ends
		order, err = testday.Order{}, nil
	}
	if err != nil {
		h.failOperation(w, r, err)
		return
	}
	var text bytes.Buffer
	if err := json.NewEncoder(run.VisibleWriter{To: &text}).Encode(order); err != nil {
		h.fail(w, r, err)
		return
	}
	_ = c.SetWriteDeadline(time.Now().Add(writeTimeout))
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set(proofHeader, h.Token.proof(ofAgent, nonce, text.Bytes()))
	_, _ = w.Write(text.Bytes()) // a runner that hung up asks again
}

// untilStopping ends, beside with ctx, when the server is told to end.
func untilStopping(ctx context.Context) (context.Context, context.CancelFunc) {
	told, _ := ctx.Value(stopping{}).(<-chan struct{})
	ctx, cancel := context.WithCancel(ctx)
	go func() {
		select {
		case <-told:
			cancel()
		case <-ctx.Done():
		}
	}()
	return ctx, cancel
}
