package console

import (
	_ "embed"
	"net/http"
	"sync"
)

//go:embed root.html
var rootPage []byte

// root tells a person who opens the agent's address where things are.
func root(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")
	_, _ = w.Write(rootPage) // a client that hung up is its own affair
}

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
	_, _ = w.Write(append(text, '\n')) // likewise
}
