package console

import (
	"cmp"
	"errors"
	"net/http"
	"time"
)

// eventsType is the media type of server-sent events.
const eventsType = "text/event-stream"

// eventsQuery is what GET /events may be asked with.
type eventsQuery struct {
	// After is the id of the last event that was heard of; the header Last-Event-ID goes
	// before it.
	After string `json:"after"`
}

// sendTimeout is how long a watcher's connection may take for one message.
const sendTimeout = 10 * time.Second

// events tells whoever asks what happens until they go.
func (h *handler) events(w http.ResponseWriter, r *http.Request) {
	var q eventsQuery
	if err := decodeQuery(r.URL.Query(), &q); err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	watcher, err := h.watchers.join(whoAsks(r), cmp.Or(r.Header.Get("Last-Event-ID"), q.After))
	if err != nil {
		w.Header().Set("Retry-After", "10")
		writeError(w, http.StatusServiceUnavailable, err)
		return
	}
	defer h.watchers.leave(watcher)
	c := http.NewResponseController(w)
	if err := c.SetReadDeadline(time.Time{}); err != nil && !errors.Is(err, http.ErrNotSupported) {
		h.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", eventsType)
	w.Header().Set("Cache-Control", "no-store")
	stopping, _ := r.Context().Value(stopping{}).(<-chan struct{})
	silence := time.NewTimer(beat)
	defer silence.Stop()
	for {
		var text []byte
		select {
		case text = <-watcher.messages:
		case <-silence.C:
			text = []byte("event: beat\ndata: {}\n\n")
		case <-watcher.gone:
			return
		case <-stopping:
			return
		case <-r.Context().Done():
			return
		}
		silence.Reset(beat)
		_ = c.SetWriteDeadline(time.Now().Add(sendTimeout)) // not supported: there is none
		if _, err := w.Write(text); err != nil {
			return
		}
		if err := c.Flush(); err != nil {
			return
		}
	}
}
