package console

import (
	"context"
	"errors"
	"net/http"
	"time"

	"go.uber.org/zap"

	"sweepd/run"
	"sweepd/testday"
)

// abandoned is what is said against a run whose watch was killed.
const abandoned = "sweepd run watch ended without stopping the run; its command may have gone on"

// hold says that it holds the run, and lasts until the caller hangs up. Where the run is still recording then, it ends:
// whoever was to stop it is gone.
func (h *handler) hold(w http.ResponseWriter, r *http.Request) {
	var q struct{}
	if !readJSON(w, r, &q) {
		return
	}
	c := http.NewResponseController(w)
	if err := errors.Join(c.SetReadDeadline(time.Time{}), c.SetWriteDeadline(time.Time{})); err != nil {
		h.fail(w, r, err)
		return
	}
	w.WriteHeader(http.StatusProcessing) // before the answer
	stopping, _ := r.Context().Value(stopping{}).(<-chan struct{})
	select {
	case <-stopping: // the agent ends its run by itself
		w.WriteHeader(http.StatusNoContent)
		return
	case <-r.Context().Done():
	}
	id := r.PathValue("id")
	switch _, err := h.Agent.StopRun(context.WithoutCancel(r.Context()), run.Stop{Run: id, Failure: abandoned, By: testday.ByWatch + ", which was ended"}); {
	case err == nil:
		h.Log.Warn(abandoned, zap.String("run", id))
	case !errors.Is(err, run.ErrEnded):
		h.Log.Error("a run whose watch is gone could not be stopped", zap.String("run", id), zap.Error(err))
	}
}
