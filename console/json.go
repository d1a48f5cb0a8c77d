package console

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"

	"sweepd/run"
)

// readJSON reads the one value of a request's body. Where it is not what it
// should be, it answers and returns false.
func readJSON(w http.ResponseWriter, r *http.Request, into any) bool {
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	err := d.Decode(into)
	if err == nil {
		if _, more := d.Token(); !errors.Is(more, io.EOF) {
			err = errors.New("more than one value")
		}
	}
	var large *http.MaxBytesError
	switch {
	case err == nil:
		return true
	case errors.As(err, &large):
		writeError(w, http.StatusRequestEntityTooLarge, fmt.Errorf("the request has more than %d bytes", large.Limit))
	default:
		writeError(w, http.StatusBadRequest, fmt.Errorf("the request is not the JSON object expected at %s: %w", r.URL.Path, err))
	}
	return false
}

func writeJSON(w http.ResponseWriter, v any) {
	text, err := json.Marshal(v)
	if err != nil { // a number that JSON cannot hold got this far
		writeError(w, http.StatusInternalServerError, fmt.Errorf("answer: %w", err))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = run.VisibleWriter{To: w}.Write(append(text, '\n')) // a client that hung up is its own affair
}

func writeError(w http.ResponseWriter, status int, err error) {
	writeMessage(w, status, errorMessage{Error: err.Error()})
}

func writeMessage(w http.ResponseWriter, status int, m errorMessage) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_ = json.NewEncoder(run.VisibleWriter{To: w}).Encode(m)
}
