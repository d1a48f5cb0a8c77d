package console

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"

	"sweepd/run"
	"sweepd/testday"
)

// problemType is the media type of every answer that is not a success (RFC 9457).
const problemType = "application/problem+json"

// problemsPath is where it is told what each kind of problem is.
const problemsPath = "/api/problems"

// problem is the body of every answer that is not a success: a problem of RFC 9457, with
// members of our own.
type problem struct {
	// Type is about:blank where Kind is empty, else the path where that is told.
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"` // for whoever reads it beside the device

	Error string `json:"error"`          // the same for whoever types commands
	Kind  string `json:"kind,omitempty"` // a key of kinds; empty for others
	// About is what else an error of testday.Kinds says.
	About json.RawMessage `json:"about,omitempty"`
	// Run is set where the status is 507: a run that has ended and is kept where kept_in
	// says, but could not be stored so far.
	Run *run.Record `json:"run,omitempty"`
	// Skipped is set where an analysis failed: what it would not have taken.
	Skipped *testday.SkippedJSON `json:"skipped,omitempty"`
	// Ended is set where a run was to be stopped and has ended, although the request, or
	// what Unusable tells of it, could not be used.
	Ended    *run.Record       `json:"ended,omitempty"`
	Unusable *testday.Unusable `json:"unusable,omitempty"`
}

// Kinds of problems that whoever asks may branch on, beside those of testday.Kinds.
const (
	kindRequest = "request"  // the request means nothing, whatever the data holds
	kindNoRight = "no_right" // whoever asks may not do this
	// kindElsewhere is that this is done on the device itself alone.
	kindElsewhere = "on_device"
	kindBusy      = "in_progress"   // a request with this key is being carried out
	kindEnded     = "already_ended" // the run that was to be stopped had ended
	kindKeyUsed   = "key_used"      // the key was given with another request
)

// kinds are what each kind of problem is called.
var kinds = map[string]string{
	kindRequest:   "The request cannot be understood",
	kindNoRight:   "This needs the right to change what is kept",
	kindBusy:      "The same request is still being carried out",
	kindEnded:     "The run has ended already",
	kindNoToken:   "Whoever asks is not paired",
	kindElsewhere: "This is done on the device itself",
	kindRecording: "A run is recording",
	kindKeyUsed:   "The idempotency key was used for another request",

	kindNoHandsOff: "This agent does no plan by itself",

	(&testday.ReplacesError{}).Kind(): "A plan is in force already",
	(&testday.NamesError{}).Kind():    "A name is new and close to one that is known",
	(&testday.UnfitError{}).Kind():    "A file cannot be used as it is",
	(&testday.ConsentError{}).Kind():  "Nobody has agreed yet that the agent sets the device's power by itself",
}

func writeError(w http.ResponseWriter, status int, err error) {
	writeProblem(w, status, problem{Error: err.Error()})
}

// writeProblem answers with a problem of which the members of our own are given.
func writeProblem(w http.ResponseWriter, status int, p problem) {
	p.Type, p.Title, p.Status, p.Detail = "about:blank", http.StatusText(status), status, cmp.Or(p.Detail, p.Error)
	if title := kinds[p.Kind]; title != "" {
		p.Type, p.Title = problemsPath+"#"+p.Kind, title
	}
	w.Header().Set("Content-Type", problemType)
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_ = json.NewEncoder(run.VisibleWriter{To: w}).Encode(p)
}

// tellProblems says what each kind of problem is, for whoever follows the type of one.
func tellProblems(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	for _, kind := range slices.Sorted(maps.Keys(kinds)) {
		fmt.Fprintf(w, "%s: %s.\n", kind, kinds[kind])
	}
}
