package console

import (
	"encoding/json"
	"errors"
	"net/http"
	"sync/atomic"

	"go.uber.org/zap"

	"sweepd/report"
	"sweepd/run"
	"sweepd/testday"
)

// Options are the options of New. Agent, Store and Machine are required.
type Options struct {
	Agent   testday.Recorder
	Store   testday.Corrections
	Machine testday.Machine
	// Metrics answers GET /metrics, to every machine; nil means that nothing does.
	Metrics http.Handler
	// MetricsClosed has /metrics answer other machines as all else does: phones alone.
	MetricsClosed bool
	// Paired are the phones that may ask from elsewhere; nil: none.
	Paired *Paired
	// Reach tells where the page is; nil: at DefaultURL.
	Reach func() Reach
	// Hosts are names of this device besides its addresses, localhost and its own
	// host name. Requests under others are refused.
	Hosts []string
	// Lower names the results of which less is better unless a request says
	// otherwise.
	Lower      []string
	Thresholds testday.Thresholds // of findings that are judged again
	// FramesShort is the share of a run that its frame times should cover; 0 means
	// judge.DefaultFramesShort.
	FramesShort float64
	// Prices are those of devices that the configuration states.
	Prices map[string]float64
	// Actuators tells what of the device can be set; nil: nothing is known of it.
	Actuators testday.ActuatorOffers
	// Published is what stands on every report.
	Published report.Publication
	// HandsOff does plans by itself; nil: nothing does.
	HandsOff testday.HandsOffAgent
	// Open opens the data for one request.
	Open func(readOnly bool) (Data, error)
	// Token is the right to change what is kept; without one nobody has it.
	Token Token
	// Holder says whose the data is.
	Holder testday.Holder
	// Version is the program's.
	Version string
	// Log is nil for none.
	Log *zap.Logger
}

// New returns the handler of everything that the agent serves.
func New(o Options) http.Handler {
	if o.Log == nil {
		o.Log = zap.NewNop()
	}
	o.Store = testday.CorrectionsWithUnstored(o.Store, o.Agent)
	h := &handler{Options: o, agent: &testday.Local{Recorder: o.Agent, Store: o.Store, Version: o.Version, Lower: o.Lower, Holder: o.Holder, Thresholds: o.Thresholds}}
	h.watchers = newWatchers(o.Agent.Live, o.Machine, &h.timer, testday.HotLimit(o.Thresholds))
	if o.HandsOff != nil {
		h.watchers.handsOff = o.HandsOff.HandsOff
	}
	o.Agent.Subscribe(h.watchers.hear) // for as long as the agent lives
	o.Agent.Subscribe(h.comparison.hear)
	local := http.NewServeMux()
	for _, l := range h.live() {
		if l.once {
			l.do = h.answers.once(l.do)
		}
		local.HandleFunc(l.about.Method+" "+prefix+l.about.Path, l.do)
	}
	h.handleOperations(local)
	local.HandleFunc("GET /{$}", servePage)
	for path, serve := range pageFiles {
		local.HandleFunc("GET "+path, serve)
	}
	local.HandleFunc("GET /api/openapi.json", describe)
	local.HandleFunc("GET "+problemsPath, tellProblems)
	local.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		writeError(w, http.StatusNotFound, errors.New(nothingThere+r.Method+" "+run.Shorten(r.URL.Path)))
	})
	hosts := newHostNames(o.Hosts)
	all := http.NewServeMux()
	switch {
	case o.Metrics != nil && o.MetricsClosed:
		local.Handle("GET /metrics", o.Metrics)
	case o.Metrics != nil:
		all.Handle("GET /metrics", hosts.only(o.Metrics))
	}
	all.Handle("/", h.guard(hosts, local))
	return all
}

type handler struct {
	Options
	agent      *testday.Local
	watchers   *watchers
	timer      testday.StopTimer
	answers    answers
	comparison comparison
	pairings   pairings
	starter    atomic.Pointer[starter] // of the run that was started last
	wrong      wrongTries
}

func (h *handler) status(w http.ResponseWriter, r *http.Request) {
	status, err := h.agent.Status(r.Context())
	h.answer(w, r, status, err)
}

func (h *handler) sensors(w http.ResponseWriter, _ *http.Request) {
	live := h.agent.Live()
	writeJSON(w, testday.WithSettingCommand(testday.SensorRows(h.Machine, live.Sensors, live.Values), live.SettingCommandFailure))
}

// ready tells whether the device is fit to start a run. ?supply=battery asks for
// one on battery, ?charge=0.6 for one that needs the battery at 60 %; ?setting, ?workload
// and ?variant=k=v (repeated) are those of the run.
func (h *handler) ready(w http.ResponseWriter, r *http.Request) {
	want := run.Want{Supply: run.Supply(r.URL.Query().Get("supply"))}
	switch want.Supply {
	case run.SupplyUnknown, run.Mains, run.Battery:
	default:
		writeError(w, http.StatusBadRequest, errors.New("supply is mains or battery"))
		return
	}
	if text := r.URL.Query().Get("charge"); text != "" {
		charge, err := run.ParseNumber(text)
		if err != nil || !(charge >= 0 && charge <= 1) {
			writeError(w, http.StatusBadRequest, errors.New("charge is a share from 0 to 1"))
			return
		}
		want.MinCharge = charge
	}
	if text := r.URL.Query().Get("setting"); text != "" {
		var err error
		if want.Setting, err = run.ParseSetting(text); err != nil {
			writeError(w, http.StatusBadRequest, err)
			return
		}
	}
	want.Workload = r.URL.Query().Get("workload")
	var err error
	if want.Variant, err = run.ParseVariantPairs(r.URL.Query()["variant"]); err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	readiness, err := testday.Ready(r.Context(), h.agent, want)
	h.watchers.wakeUp() // that was a sweep
	h.answer(w, r, readiness, err)
}

func (h *handler) setting(w http.ResponseWriter, r *http.Request) {
	var q SettingRequest
	if !readJSON(w, r, &q) {
		return
	}
	status, err := testday.Declare(r.Context(), h.agent, q.Setting, q.By)
	h.answer(w, r, status, err)
}

func (h *handler) start(w http.ResponseWriter, r *http.Request) {
	var q testday.StartRequest
	if !readJSON(w, r, &q) {
		return
	}
	s, err := q.Start()
	if err == nil {
		err = testday.CheckStopAfter(q.StopAfterS)
	}
	if err != nil {
		h.fail(w, r, err)
		return
	}
	started, err := testday.WarnStart(r.Context(), h.agent, h.Store, s)
	if errors.Is(err, run.ErrRecording) {
		h.refuseStart(w, err)
		return
	}
	if err == nil {
		h.starter.Store(&starter{started.ID, h.asks(r, q.By)})
	}
	if err == nil && q.StopAfterS > 0 {
		err = h.stopAfter(started.ID, q.StopAfterS)
	}
	h.answer(w, r, started, err)
}

// starter is what started a run.
type starter struct{ run, by string }

// asks is what asks, with the name of the phone that it runs on.
func (h *handler) asks(r *http.Request, by string) string {
	if phone := h.Paired.name(whoAsks(r)); phone != "" {
		return by + " on " + phone
	}
	return by
}

// refuseStart says that a run is recording: in detail as a person reads it beside the device.
func (h *handler) refuseStart(w http.ResponseWriter, err error) {
	p := problem{Error: err.Error()}
	if live := h.agent.Live(); live.Recording != nil {
		by := ""
		if s := h.starter.Load(); s != nil && s.run == live.Recording.ID {
			by = s.by
		}
		p.Detail = testday.StartRefused(*live.Recording, by, live.Now.Wall)
	}
	writeProblem(w, http.StatusConflict, p)
}

// setTimer has the run that is recording stopped after a time, or by hand again.
func (h *handler) setTimer(w http.ResponseWriter, r *http.Request) {
	var q StopAfterRequest
	if !readJSON(w, r, &q) {
		return
	}
	if q.AfterS == nil {
		writeProblem(w, http.StatusBadRequest, problem{Kind: kindRequest, Error: "after_s is missing: the seconds from the start of the run, 0 for by hand"})
		return
	}
	if err := h.stopAfter(r.PathValue("id"), *q.AfterS); err != nil {
		h.fail(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func (h *handler) stopAfter(id string, seconds float64) error {
	return h.timer.Set(h.agent.Live(), id, seconds, func(id string) {
		if err := testday.StopAfter(h.agent, id); err != nil {
			h.Log.Error("a run could not be stopped when its time was over", zap.String("run", id), zap.Error(err))
		}
	})
}

// answer answers with v, or with the error.
func (h *handler) answer(w http.ResponseWriter, r *http.Request, v any, err error) {
	if err != nil {
		h.fail(w, r, err)
		return
	}
	writeJSON(w, v)
}

// fail answers with an error. What nobody could have foreseen is also logged; of a run
// that could not be stored the agent has told already.
func (h *handler) fail(w http.ResponseWriter, r *http.Request, err error) {
	h.failWith(w, r, err, statusOf(err))
}

// failOperation answers with the error of an operation. What a person asks for and cannot
// be done is no failure of the agent.
func (h *handler) failOperation(w http.ResponseWriter, r *http.Request, err error) {
	status := statusOf(err)
	if status == http.StatusInternalServerError && !isFault(err) {
		status = http.StatusUnprocessableEntity
		h.Log.Info("not done", zap.String("path", r.URL.Path), zap.NamedError("why", err))
	}
	h.failWith(w, r, err, status)
}

func (h *handler) failWith(w http.ResponseWriter, r *http.Request, err error, status int) {
	var kept *run.NotStoredError
	if errors.As(err, &kept) {
		writeProblem(w, http.StatusInsufficientStorage, problem{Error: err.Error(), Run: &kept.Run})
		return
	}
	var ended *testday.EndedError
	if errors.As(err, &ended) {
		writeProblem(w, http.StatusBadRequest, problem{Error: err.Error(), Ended: &ended.Run, Unusable: &ended.Unusable})
		return
	}
	var already *testday.AlreadyEndedError
	if errors.As(err, &already) {
		writeProblem(w, http.StatusConflict, problem{Kind: kindEnded, Error: err.Error(), Ended: &already.Run})
		return
	}
	m := problem{Error: err.Error()}
	var selection *testday.SelectionError
	if errors.As(err, &selection) {
		m.Skipped = &selection.Skipped
	}
	var kind interface {
		error
		Kind() string
	}
	if errors.As(err, &kind) {
		m.Kind = kind.Kind()
		m.About, _ = json.Marshal(kind) // plain data
	}
	if status == http.StatusBadRequest {
		m.Kind = kindRequest
	}
	if status == http.StatusInternalServerError && r.Context().Err() == nil { // else whoever asked has gone
		h.Log.Error("request failed", zap.String("path", r.URL.Path), zap.Error(err))
	}
	writeProblem(w, status, m)
}
