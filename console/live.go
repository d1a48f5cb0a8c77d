package console

import (
	"net/http"
	"time"

	"sweepd/run"
	"sweepd/testday"
)

// liveOperation is one that is about the agent itself, or about a run by way of it.
type liveOperation struct {
	about           testday.About
	request, answer any // pointers; no answer: status 204
	do              http.HandlerFunc
	once            bool // with an idempotency key it is done once
}

// readyQuery is what GET /ready may be asked with.
type readyQuery struct {
	Supply   string   `json:"supply"`
	Charge   float64  `json:"charge"`
	Setting  string   `json:"setting"`
	Workload string   `json:"workload"`
	Variant  []string `json:"variant"`
}

// live are all of them.
func (h *handler) live() []liveOperation {
	type about = testday.About
	none := new(testday.Nothing)
	list := []liveOperation{
		{about{Method: "GET", Path: "/status", Summary: "Says what the agent is doing."}, none, new(testday.Status), h.status, false},
		{about{Method: "GET", Path: "/sensors", Summary: "Lists what the sensors showed last, and what is missing."}, none, new([]testday.SensorRow), h.sensors, false},
		{about{Method: "GET", Path: "/ready", Summary: "Says whether the device is fit to start a run."}, new(readyQuery), new(run.Readiness), h.ready, false},
		{about{Method: "POST", Path: "/setting", Summary: "Declares the active setting; an empty one takes that back."}, new(SettingRequest), new(testday.Status), h.setting, false},
		{about{Method: "POST", Path: "/runs/start", Summary: "Starts a run."}, new(testday.StartRequest), new(run.Run), h.start, true},
		{about{Method: "POST", Path: "/runs/stop", Summary: "Stops the run that is recording, or gives results to the one that is named."}, new(StopRequest), new(run.Record), h.stop, true},
		{about{Method: "POST", Path: "/runs/{id}/results", Summary: "Adds results to a run; changing those that it has needs the right."}, new(ResultsRequest), new(run.Record), h.results, false},
		{about{Method: "POST", Path: "/runs/{id}/changed", Summary: "Tells the agent that a run was changed in the data file itself."}, none, nil, h.noteChange, false},
		{about{Method: "POST", Path: "/runs/{id}/hold", Summary: "Holds on to a run: it is stopped when the caller goes away."}, none, nil, h.hold, false},
		{about{Method: "POST", Path: "/runs/{id}/stop_after", Summary: "Has the run that is recording stopped a time after its start, or by hand again."}, new(StopAfterRequest), nil, h.setTimer, false},
		{about{Method: "GET", Path: "/comparison", Summary: "Gives the report of all that was measured, as /report does, and in " + asOfHeader + " when it was drawn; while a run is recording none is drawn: it is the last one.", Gives: testday.Archive}, none, nil, h.compared, false},
		{about{Method: "GET", Path: "/events", Summary: "Tells what happens, as it happens: messages begin, event, glance, day and beat.", Gives: eventsType}, new(eventsQuery), nil, h.events, false},
	}
	list = append(list, h.handsOffOperations()...)
	list = append(list,
		liveOperation{about{Method: "POST", Path: pairPath, Summary: "Gives a phone its token, as a cookie, for a code that sweepd console pair made."}, new(PairRequest), new(PairedPhone), h.pair, false},
		liveOperation{about{Method: "POST", Path: "/phones/pairing", Summary: "Makes a code that pairs a phone, for 2 minutes and once; on this device alone.", Needs: testday.NeedsRight}, new(PairingRequest), new(Pairing), h.offerPairing, false},
		liveOperation{about{Method: "POST", Path: "/phones/program", Summary: "Gives a program on another machine a token, which it sends as Authorization: Bearer; on this device alone.", Needs: testday.NeedsRight}, new(PairingRequest), new(PairedProgram), h.pairProgram, false},
		liveOperation{about{Method: "GET", Path: "/phones", Summary: "Lists the phones that were paired; on this device alone.", Needs: testday.NeedsRight}, none, new([]PairedPhone), h.listPhones, false},
		liveOperation{about{Method: "POST", Path: "/phones/{id}/revoke", Summary: "Takes a phone its token; on this device alone.", Needs: testday.NeedsRight}, none, new(PairedPhone), h.revoke, false},
	)
	for _, d := range []run.Decision{run.Reject, run.Keep, run.Unkeep} {
		list = append(list, liveOperation{about{Method: "POST", Path: "/runs/{id}/" + string(d), Summary: "Decides about a run (" + string(d) + "), with the reason.", Needs: testday.NeedsRight},
			new(WhyRequest), new(run.Record), func(w http.ResponseWriter, r *http.Request) { h.decide(w, r, d) }, false})
	}
	return list
}

func (h *handler) results(w http.ResponseWriter, r *http.Request) {
	var q ResultsRequest
	if readJSON(w, r, &q) && (h.completes(r, q) || h.entitled(w, r)) {
		h.correct(w, r, q)
	}
}

func (h *handler) decide(w http.ResponseWriter, r *http.Request, d run.Decision) {
	var q WhyRequest
	if readJSON(w, r, &q) && h.entitled(w, r) {
		h.change(w, r, func() (run.Record, error) {
			return testday.Decide(r.Context(), h.Store, r.PathValue("id"), d, q.Why, time.Now())
		})
	}
}
