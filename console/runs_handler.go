package console

import (
	"errors"
	"net/http"
	"strconv"
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

// handleRuns adds what reads and corrects kept runs.
func (h *handler) handleRuns(mux *http.ServeMux) {
	mux.HandleFunc("GET /api/v1/runs", h.list)
	mux.HandleFunc("GET /api/v1/runs/{id}", h.show)
	mux.HandleFunc("POST /api/v1/runs/{id}/results", func(w http.ResponseWriter, r *http.Request) {
		var q ResultsRequest
		if readJSON(w, r, &q) {
			h.correct(w, r, q)
		}
	})
	mux.HandleFunc("POST /api/v1/runs/{id}/changed", h.noteChange)
	mux.HandleFunc("POST /api/v1/runs/{id}/hold", h.hold)
	for _, d := range []run.Decision{run.Reject, run.Keep} {
		mux.HandleFunc("POST /api/v1/runs/{id}/"+string(d), func(w http.ResponseWriter, r *http.Request) {
			var q WhyRequest
			if readJSON(w, r, &q) {
				h.change(w, r, func() (run.Record, error) {
					return testday.Decide(r.Context(), h.Store, r.PathValue("id"), d, q.Why, time.Now())
				})
			}
		})
	}
}

// list takes the filters of `sweepd run list`: device, workload, supply, variant (k=v,
// repeated), setting, state, finding, since, until and last.
func (h *handler) list(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	last := 0
	if text := q.Get("last"); text != "" {
		var err error
		if last, err = strconv.Atoi(text); err != nil {
			writeError(w, http.StatusBadRequest, errors.New("last is a number of runs"))
			return
		}
	}
	f, err := testday.FilterRequest{
		Device: q.Get("device"), Workload: q.Get("workload"), Supply: q.Get("supply"), Variant: q["variant"], Setting: q.Get("setting"),
		State: q.Get("state"), Finding: q.Get("finding"), Since: q.Get("since"), Until: q.Get("until"), Last: last,
	}.Filter(time.Now())
	if err != nil {
		h.fail(w, r, err)
		return
	}
	runs, err := testday.List(r.Context(), h.Store, f)
	h.answer(w, r, runs, err)
}

func (h *handler) show(w http.ResponseWriter, r *http.Request) {
	k, err := testday.Show(r.Context(), h.Store, r.PathValue("id"))
	h.answer(w, r, k, err)
}

func (h *handler) correct(w http.ResponseWriter, r *http.Request, q ResultsRequest) {
	list, err := results(q.Results)
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	rules := testday.ResultRules{Lower: h.Lower, FramesShort: h.FramesShort}
	h.change(w, r, func() (run.Record, error) {
		return testday.Correct(r.Context(), h.Store, r.PathValue("id"), list, q.FramesS, rules, time.Now())
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

// statusOf is the status for an error.
func statusOf(err error) int {
	var request *testday.RequestError
	if errors.As(err, &request) {
		return http.StatusBadRequest
	}
	for _, conflict := range []error{run.ErrRecording, run.ErrNotRecording, run.ErrEnded, store.ErrStillRecording, store.ErrNotRejected} {
		if errors.Is(err, conflict) {
			return http.StatusConflict
		}
	}
	if errors.Is(err, run.ErrNoRun) || errors.Is(err, store.ErrAmbiguous) {
		return http.StatusNotFound
	}
	return http.StatusInternalServerError
}
