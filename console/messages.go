package console

import (
	"fmt"

	"sweepd/run"
)

// StartRequest asks for a run: POST /api/v1/runs/start. Setting is what a user
// types ("25W", "quiet"); empty means the one declared before, or the one read.
type StartRequest struct {
	Workload string      `json:"workload"`
	Setting  string      `json:"setting,omitempty"`
	Variant  run.Variant `json:"variant,omitempty"`
	Note     string      `json:"note,omitempty"`
}

// Check tells why the request cannot be met.
func (q StartRequest) Check() error {
	_, err := q.start()
	return err
}

func (q StartRequest) start() (run.Start, error) {
	s := run.Start{Workload: q.Workload, Variant: q.Variant, Note: q.Note}
	if err := s.Check(); err != nil || q.Setting == "" {
		return s, err
	}
	var err error
	s.Setting, err = parseSetting(q.Setting)
	return s, err
}

// SettingRequest declares the active setting: POST /api/v1/setting. An empty
// text takes the declaration back.
type SettingRequest struct {
	Setting string `json:"setting"`
}

func (q SettingRequest) setting() (run.Setting, error) {
	if q.Setting == "" {
		return run.Setting{}, nil
	}
	return parseSetting(q.Setting)
}

// CheckSetting tells why a text cannot be a setting.
func CheckSetting(text string) error {
	_, err := parseSetting(text)
	return err
}

func parseSetting(text string) (run.Setting, error) {
	s, err := run.ParseSetting(text)
	if err == nil && s.Name() != "" {
		err = run.CheckLabel("setting", s.Name())
	}
	return s, err
}

// StopRequest ends the run: POST /api/v1/runs/stop.
type StopRequest struct {
	Results map[string]ResultMessage `json:"results,omitempty"`
	Note    string                   `json:"note,omitempty"` // is added to the run's note
}

// ResultsRequest adds results to a run that is kept: POST /api/v1/runs/ID/results.
type ResultsRequest struct {
	Results map[string]ResultMessage `json:"results"`
	// FramesS is the time that frame times cover, s, where the results are made of
	// them.
	FramesS *float64 `json:"frames_s,omitempty"`
}

// ResultMessage is a result on its way in. Better is "higher", "lower" or empty
// for what the configuration says.
type ResultMessage struct {
	Value  *float64   `json:"value"`
	Unit   string     `json:"unit,omitempty"`
	Better run.Better `json:"better,omitempty"`
}

// Results completes what came in. lower names the results of which less is
// better unless the message says otherwise.
func Results(in map[string]ResultMessage, lower []string) (map[string]run.Result, error) {
	out := make(map[string]run.Result, len(in))
	for name, m := range in {
		if m.Value == nil {
			return nil, fmt.Errorf("result %s has no value", shorten(name))
		}
		r := run.Result{Value: *m.Value, Unit: m.Unit, Better: m.Better}
		if r.Better == "" {
			r.Better = Direction(name, lower)
		}
		if err := run.CheckResult(name, r); err != nil {
			return nil, err
		}
		out[name] = r
	}
	return out, nil
}

// Status is what the agent is doing: GET /api/v1/status. Unknown numbers are
// null.
type Status struct {
	Version     string              `json:"version"`
	Device      string              `json:"device"`
	At          run.Timestamp       `json:"at"`
	Setting     run.SourcedSetting  `json:"setting"`
	SettingRead *run.SourcedSetting `json:"setting_read"`
	Supply      run.Supply          `json:"supply"`
	Recording   *run.Run            `json:"recording"`
	DischargeW  *float64            `json:"discharge_watts"`
	ChargeRatio *float64            `json:"charge_ratio"`
	Sweeps      uint64              `json:"sweeps"`
}

// errorMessage is the body of every answer that is not a success.
type errorMessage struct {
	Error string `json:"error"`
}
