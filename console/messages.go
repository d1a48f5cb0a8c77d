package console

import (
	"fmt"

	"sweepd/run"
	"sweepd/testday"
)

// SettingRequest declares the active setting: POST /api/v1/setting. An empty
// text takes the declaration back.
type SettingRequest struct {
	Setting string `json:"setting"`
	By      string `json:"by,omitempty"` // what declares it; empty: "the API"
}

// StopRequest ends the run: POST /api/v1/runs/stop.
type StopRequest struct {
	// Run is the id of the run that is meant, or a part that only it has; without one it
	// is the run that is recording. One that has ended already gets the results.
	Run     string                   `json:"run,omitempty"`
	Results map[string]ResultMessage `json:"results,omitempty"`
	Note    string                   `json:"note,omitempty"` // is added to the run's note
	// Failure says what went wrong with what was run: the finding command_failed.
	Failure string `json:"failure,omitempty"`
	By      string `json:"by,omitempty"` // what stops it; empty: "the API"
	// IfRecording has the answer be 409, with the run in ended, where the run that is named
	// has ended already; otherwise it gets the results.
	IfRecording bool `json:"if_recording,omitempty"`
}

// StopAfterRequest has the run that is recording stopped after a time: POST
// /api/v1/runs/ID/stop_after.
type StopAfterRequest struct {
	AfterS *float64 `json:"after_s"` // from the run's start; 0: it is stopped by hand
}

// ResultsRequest adds results to a run that is kept: POST /api/v1/runs/ID/results.
type ResultsRequest struct {
	Results map[string]ResultMessage `json:"results"`
	// FramesS is the time that frame times cover, s, where the results are made of
	// them.
	FramesS *float64 `json:"frames_s,omitempty"`
	// FrameUnit is the unit in which they were read: s, ms, us, ns or fps.
	FrameUnit string `json:"frame_unit,omitempty"`
	// Who typed it, as the system calls them; empty: unknown.
	Who string `json:"who,omitempty"`
}

// framed is what the frame times cover, nil where there are none.
func (q ResultsRequest) framed() *testday.FrameResults {
	if q.FramesS == nil {
		return nil
	}
	return &testday.FrameResults{FramesS: *q.FramesS, Unit: q.FrameUnit}
}

// ResultMessage is a result on its way in. Better is "higher", "lower" or empty
// for what the configuration says.
type ResultMessage struct {
	Value  *float64   `json:"value"`
	Unit   string     `json:"unit,omitempty"`
	Better run.Better `json:"better,omitempty"`
}

// results reads what came in. It fails where a value is missing.
func results(in map[string]ResultMessage) (testday.Results, error) {
	out := make(testday.Results, len(in))
	for name, m := range in {
		if m.Value == nil {
			return nil, fmt.Errorf("result %s has no value", run.Shorten(name))
		}
		out[name] = run.Result{Value: *m.Value, Unit: m.Unit, Better: m.Better}
	}
	return out, nil
}

// messages gives results the form in which they travel.
func messages(list map[string]run.Result) map[string]ResultMessage {
	out := make(map[string]ResultMessage, len(list))
	for name, r := range list {
		out[name] = ResultMessage{Value: &r.Value, Unit: r.Unit, Better: r.Better}
	}
	return out
}
