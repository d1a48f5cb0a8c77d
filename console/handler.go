package console

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"sync"

	"go.uber.org/zap"

	"sweepd/agent"
	"sweepd/run"
)

// Agent is what the console needs of a running agent; *agent.Agent is one.
type Agent interface {
	StartRun(context.Context, run.Start) (run.Run, error)
	StopRun(context.Context, run.Stop) (run.Record, error)
	Declare(context.Context, run.Setting) error
	Ready(context.Context, run.Want) (run.Readiness, error)
	Snapshot(*agent.Snapshot)
	Publish(change func() (run.Event, error)) error
}

var _ Agent = (*agent.Agent)(nil)

// Options are the options of New. Agent, Store and Machine are required.
type Options struct {
	Agent   Agent
	Store   Store
	Machine Machine
	// Metrics answers GET /metrics, to everybody; nil means that nothing does.
	Metrics http.Handler
	// Lower names the results of which less is better unless a request says
	// otherwise.
	Lower []string
	// FramesShort is the share of a run that its frame times should cover; 0 means
	// agent.DefaultFramesShort.
	FramesShort float64
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
	h := &handler{Options: o}
	local := http.NewServeMux()
	local.HandleFunc("GET /api/v1/status", h.status)
	local.HandleFunc("GET /api/v1/sensors", h.sensors)
	local.HandleFunc("GET /api/v1/ready", h.ready)
	local.HandleFunc("POST /api/v1/setting", h.setting)
	local.HandleFunc("POST /api/v1/runs/start", h.start)
	local.HandleFunc("POST /api/v1/runs/stop", h.stop)
	h.handleRuns(local)
	local.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		writeError(w, http.StatusNotFound, errors.New("there is nothing at "+r.Method+" "+shorten(r.URL.Path)))
	})
	all := http.NewServeMux()
	if o.Metrics != nil {
		all.Handle("GET /metrics", o.Metrics)
	}
	all.Handle("/", guard(local))
	return all
}

type handler struct {
	Options
	mu       sync.Mutex // guards snapshot, whose memory is used again and again
	snapshot agent.Snapshot
}

func (h *handler) status(w http.ResponseWriter, _ *http.Request) {
	h.mu.Lock()
	defer h.mu.Unlock()
	s := &h.snapshot
	h.Agent.Snapshot(s)
	status := Status{
		Version: h.Version, Device: s.Current.Device, Setting: s.Current.Setting, SettingRead: s.SettingRead, Supply: s.Current.Supply,
		DischargeW: known(s.DischargeWatts), ChargeRatio: known(s.ChargeRatio), Sweeps: s.Sweeps,
	}
	if s.Sweeps > 0 {
		status.At = run.Stamp(s.At.Wall)
	}
	if s.Recording != nil {
		run := Run(*s.Recording)
		status.Recording = &run
	}
	writeJSON(w, status)
}

func (h *handler) sensors(w http.ResponseWriter, _ *http.Request) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.Agent.Snapshot(&h.snapshot)
	writeJSON(w, SensorRows(h.Machine, h.snapshot.Sensors, slices.Clone(h.snapshot.Values)))
}

// ready tells whether the device is fit to start a run. ?supply=battery asks for
// one on battery, ?charge=0.6 for one that needs the battery at 60 %.
func (h *handler) ready(w http.ResponseWriter, r *http.Request) {
	want := run.Want{Supply: run.Supply(r.URL.Query().Get("supply"))}
	switch want.Supply {
	case run.SupplyUnknown, run.Mains, run.Battery:
	default:
		writeError(w, http.StatusBadRequest, errors.New("supply is mains or battery"))
		return
	}
	if text := r.URL.Query().Get("charge"); text != "" {
		charge, err := strconv.ParseFloat(text, 64)
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
	readiness, err := h.Agent.Ready(r.Context(), want)
	if err != nil {
		h.fail(w, r, err)
		return
	}
	if readiness.Reasons == nil {
		readiness.Reasons = []run.Finding{}
	}
	writeJSON(w, readiness)
}

func (h *handler) setting(w http.ResponseWriter, r *http.Request) {
	var q SettingRequest
	if !readJSON(w, r, &q) {
		return
	}
	s, err := q.setting()
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	if err := h.Agent.Declare(r.Context(), s); err != nil {
		h.fail(w, r, err)
		return
	}
	h.status(w, r)
}

func (h *handler) start(w http.ResponseWriter, r *http.Request) {
	var q StartRequest
	if !readJSON(w, r, &q) {
		return
	}
	s, err := q.start()
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	run, err := h.Agent.StartRun(r.Context(), s)
	if err != nil {
		h.fail(w, r, err)
		return
	}
	writeJSON(w, Run(run))
}

func (h *handler) stop(w http.ResponseWriter, r *http.Request) {
	var q StopRequest
	if !readJSON(w, r, &q) {
		return
	}
	results, err := Results(q.Results, h.Lower)
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	d, err := h.Agent.StopRun(r.Context(), run.Stop{Results: results, Note: q.Note})
	if err != nil {
		h.fail(w, r, err)
		return
	}
	writeJSON(w, Detail(d))
}

// fail answers with the error of the agent or the store. What nobody could have
// foreseen is also logged.
func (h *handler) fail(w http.ResponseWriter, r *http.Request, err error) {
	status := statusOf(err)
	if status == http.StatusInternalServerError {
		h.Log.Error("request failed", zap.String("path", r.URL.Path), zap.Error(err))
	}
	writeError(w, status, err)
}
