package console

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"time"

	"sweepd/run"
	"sweepd/testday"
)

// sameTap is within what time the second tap of a phone on its own stop is the same stop.
const sameTap = time.Second

// stop ends the run, whatever else the body holds: with one that is not as it should be
// the answer is 400, and has the run that ended all the same.
func (h *handler) stop(w http.ResponseWriter, r *http.Request) {
	if !isJSON(w, r) {
		return
	}
	text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	if err != nil { // which run is meant may be in what did not arrive
		refuseJSON(w, r, err)
		return
	}
	stop, unusable, err := readStop(text)
	if err != nil {
		refuseJSON(w, r, err)
		return
	}
	stop.By = h.asks(r, stop.By)
	d, err := testday.StopDespite(r.Context(), h.agent, stop, unusable)
	var already *testday.AlreadyEndedError
	if whoAsks(r) != "" && errors.As(err, &already) && already.By == stop.By && already.Since < sameTap && len(stop.Results) == 0 && stop.Note == "" && stop.Failure == "" {
		d, err = already.Run, nil
	}
	h.answer(w, r, d, err)
}

// stopBody is a StopRequest of which each result is read by itself.
type stopBody struct {
	Run     string                     `json:"run"`
	Results map[string]json.RawMessage `json:"results"`
	Note    string                     `json:"note"`
	Failure string                     `json:"failure"`
	By      string                     `json:"by"`

	IfRecording bool `json:"if_recording"`
}

// Where a text that is not as it should be names a run, if it does.
var (
	runField = regexp.MustCompile(`"run"\s*:`)
	runNamed = regexp.MustCompile(`"run"\s*:\s*"([^"]*)"`)
)

// readStop reads as much as can be understood; no body at all says nothing. It fails
// where the run that is meant cannot be read.
func readStop(text []byte) (s run.Stop, u testday.Unusable, err error) {
	var q stopBody
	if len(bytes.TrimSpace(text)) > 0 {
		err = decodeJSON(bytes.NewReader(text), &q)
	}
	if err != nil {
		if m := runNamed.FindSubmatch(text); m != nil {
			q.Run = string(m[1])
		} else if runField.Match(text) {
			return s, u, err
		}
		u.Add("", fmt.Errorf("the request is not the JSON object expected: %s", inPlainWords(err)))
	}
	s = run.Stop{Run: q.Run, Results: testday.Results{}, Note: q.Note, Failure: q.Failure, By: cmp.Or(q.By, testday.ByAPI), IfRecording: q.IfRecording}
	for _, name := range slices.Sorted(maps.Keys(q.Results)) {
		var m ResultMessage
		if err := decodeJSON(bytes.NewReader(q.Results[name]), &m); err != nil || m.Value == nil {
			u.Add(name+"=…", fmt.Errorf(`result %s: %s has no value that is a number: want {"value": 61.3, "unit": "fps"}`, run.Shorten(name), run.Shorten(string(q.Results[name]))))
			continue
		}
		s.Results[name] = run.Result{Value: *m.Value, Unit: m.Unit, Better: m.Better}
	}
	return s, u, nil
}
