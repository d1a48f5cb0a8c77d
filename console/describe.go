package console

import (
	"net/http"
	"sync"
)

var openAPI = sync.OnceValues(OpenAPI)

// describe gives the description of the API.
func describe(w http.ResponseWriter, _ *http.Request) {
	text, err := openAPI()
	if err != nil {
		writeError(w, http.StatusInternalServerError, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write(append(text, '\n')) // a client that hung up is its own affair
}
