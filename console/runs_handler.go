package console

import (
	"errors"
	"io/fs"
	"net/http"
	"syscall"
	"time"

	"sweepd/run"
	"sweepd/store"
	"sweepd/testday"
)

// WhyRequest gives the reason of a decision: POST /api/v1/runs/ID/reject, and
// .../keep.
type WhyRequest struct {
	Why string `json:"why"`
}

// completes tells whether results are such that the run lacks: giving them is a part of
// stopping it.
func (h *handler) completes(r *http.Request, q ResultsRequest) bool {
	d, err := h.Store.Run(r.Context(), r.PathValue("id"))
	if err != nil {
		return true // there is nothing to change
	}
	for name := range q.Results {
		if _, has := d.Results[name]; has {
			return false
		}
	}
	return true
}

func (h *handler) correct(w http.ResponseWriter, r *http.Request, q ResultsRequest) {
	list, err := results(q.Results)
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	rules := testday.ResultRules{Lower: h.Lower, FramesShort: h.FramesShort}
	h.change(w, r, func() (run.Record, error) {
		return testday.Correct(r.Context(), h.Store, r.PathValue("id"), list, q.framed(), rules, q.Who, time.Now())
	})
}

// change answers with a run as it is after a change.
func (h *handler) change(w http.ResponseWriter, r *http.Request, do func() (run.Record, error)) {
	_ = h.agent.StoreEnded(r.Context()) // else the change is kept with the run
	d, err := h.publish(do)
	h.answer(w, r, d, err)
}

// noteChange hears of a run that was changed in the data file itself.
func (h *handler) noteChange(w http.ResponseWriter, r *http.Request) {
	_ = h.agent.StoreEnded(r.Context()) // somebody could write just now
	_, err := h.publish(func() (run.Record, error) { return h.Store.Run(r.Context(), r.PathValue("id")) })
	if err != nil {
		h.fail(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// publish tells whoever follows runs of one that a user corrected, rejected or kept,
// here or with a command on the data file; do gives it as it is then.
func (h *handler) publish(do func() (run.Record, error)) (d run.Record, err error) {
	err = h.agent.Publish(func() (run.Event, error) {
		d, err = do()
		return run.Event{Kind: run.RunCorrected, Run: d.Run}, err
	})
	return d, err
}

// isFault tells whether the data, the disk or the system failed, which an operator has to
// look into, and not only what was asked cannot be done.
func isFault(err error) bool {
	var fault interface {
		error
		Fault() bool
	}
	var path *fs.PathError
	var system syscall.Errno
	return errors.As(err, &fault) && fault.Fault() || errors.As(err, &path) || errors.As(err, &system)
}

// statusOf is the status for an error.
func statusOf(err error) int {
	var request *testday.RequestError
	if errors.As(err, &request) {
		return http.StatusBadRequest
	}
	for _, conflict := range []error{run.ErrRecording, run.ErrNotRecording, run.ErrEnded, store.ErrStillRecording, store.ErrNotRejected, store.ErrNotKept, run.ErrNoSweep, testday.ErrGoesOn, testday.ErrNoDay} {
		if errors.Is(err, conflict) {
			return http.StatusConflict
		}
	}
	for _, absent := range []error{run.ErrNoRun, store.ErrAmbiguous, store.ErrNoPlan} {
		if errors.Is(err, absent) {
			return http.StatusNotFound
		}
	}
	var selection *testday.SelectionError
	var replaces *testday.ReplacesError
	var consent *testday.ConsentError
	if errors.As(err, &replaces) || errors.As(err, &consent) {
		return http.StatusConflict
	}
	var unfit *testday.UnfitError
	if errors.As(err, &selection) || errors.As(err, &unfit) {
		return http.StatusUnprocessableEntity
	}
	return http.StatusInternalServerError
}
