package console

import (
	"errors"
	"net/http"
	"time"

	"sweepd/run"
	"sweepd/store"
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
			h.amend(w, r, Amendment{Results: q.Results, FramesS: q.FramesS, FramesShort: h.FramesShort})
		}
	})
	mux.HandleFunc("POST /api/v1/runs/{id}/changed", h.noteChange)
	for _, d := range []run.Decision{run.Reject, run.Keep} {
		mux.HandleFunc("POST /api/v1/runs/{id}/"+string(d), func(w http.ResponseWriter, r *http.Request) {
			var q WhyRequest
			if readJSON(w, r, &q) {
				h.amend(w, r, Amendment{Decision: d, Why: q.Why})
			}
		})
	}
}

// list takes the filters device, workload, supply and variant (k=v, repeated).
func (h *handler) list(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	variant, err := run.ParseVariantPairs(q["variant"])
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	runs, err := h.Store.Runs(r.Context(), store.Filter{
		Device: q.Get("device"), Workload: q.Get("workload"), Supply: run.Supply(q.Get("supply")), Variant: variant,
	})
	if err != nil {
		h.fail(w, r, err)
		return
	}
	writeJSON(w, Runs(runs))
}

func (h *handler) show(w http.ResponseWriter, r *http.Request) {
	k, err := ReadRun(r.Context(), h.Store, r.PathValue("id"))
	if err != nil {
		h.fail(w, r, err)
		return
	}
	writeJSON(w, k)
}

func (h *handler) amend(w http.ResponseWriter, r *http.Request, change Amendment) {
	if _, err := Results(change.Results, h.Lower); err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	if change.Decision != run.Undecided {
		if err := run.CheckLabel("reason", change.Why); err != nil {
			writeError(w, http.StatusBadRequest, err)
			return
		}
	}
	d, err := h.corrected(func() (run.Record, error) {
		return Amend(r.Context(), h.Store, r.PathValue("id"), change, h.Lower, time.Now())
	})
	if err != nil {
		h.fail(w, r, err)
		return
	}
	writeJSON(w, Detail(d))
}

// noteChange hears of a run that was changed in the data file itself.
func (h *handler) noteChange(w http.ResponseWriter, r *http.Request) {
	_, err := h.corrected(func() (run.Record, error) { return h.Store.Run(r.Context(), r.PathValue("id")) })
	if err != nil {
		h.fail(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// corrected tells whoever follows runs of one that a user corrected, rejected or
// kept, here or with a command on the data file; read gives it as it is then.
func (h *handler) corrected(read func() (run.Record, error)) (d run.Record, err error) {
	err = h.Agent.Publish(func() (run.Event, error) {
		d, err = read()
		return run.Event{Kind: run.RunCorrected, Run: d.Run}, err
	})
	return d, err
}

// statusOf is the status for an error of the agent or the store.
func statusOf(err error) int {
	for _, conflict := range []error{run.ErrRecording, run.ErrNotRecording, store.ErrRecording, store.ErrNotRejected} {
		if errors.Is(err, conflict) {
			return http.StatusConflict
		}
	}
	if errors.Is(err, run.ErrNoRun) || errors.Is(err, store.ErrAmbiguous) {
		return http.StatusNotFound
	}
	return http.StatusInternalServerError
}
