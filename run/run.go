package run

import "slices"

// State says whether a run is in progress and, if not, how it ended.
type State string

const (
	Recording   State = "recording"
	Finished    State = "finished"
	Interrupted State = "interrupted" // the agent died while recording
	Rejected    State = "rejected"    // by a finding or by the user; never deleted
)

// Run is one run, as lists show it and as the analysis takes it.
type Run struct {
	ID string `json:"id"`
	Labels
	// SettingRead is what the system reported at the start; nil when it
	// reports nothing.
	SettingRead *SourcedSetting `json:"setting_read"`
	State       State           `json:"state"`
	Why         string          `json:"why"`  // of a rejected run, or one of KeepInterrupted
	Note        string          `json:"note"` // the user's
	StartedAt   Timestamp       `json:"started_at"`
	DurationS   *float64        `json:"duration_s"` // nil while recording
	// WholeS is how long the run was recorded, s, where it was trimmed: the duration and
	// the watts are those up to where it was. nil: it was not.
	WholeS   *float64          `json:"whole_s"`
	PackageW *float64          `json:"package_w"` // package energy / duration
	SystemW  *float64          `json:"system_w"`  // discharge on battery; nil where NoSystemPower says why
	Results  map[string]Result `json:"results"`
	Findings []Finding         `json:"findings"`

	// SystemWSource is set for FromExternal; for others SourceOfSystemW tells it.
	SystemWSource PowerSource `json:"system_w_source,omitzero"`

	// KeptIn says where a run is kept that has ended and is not stored yet; "" for all
	// others.
	KeptIn KeptIn `json:"kept_in,omitzero"`

	// Lists are read without discharge and facts, which are nil there.
	Discharge *Discharge        `json:"discharge,omitzero"`
	Facts     map[string]string `json:"facts,omitzero"` // what the device said of itself at the start

	// StartCelsius is the hottest temperature at the start, StartCharge and
	// EndCharge the mean charge of the batteries, 0 to 1; nil where unknown.
	StartCelsius *float64 `json:"-"`
	StartCharge  *float64 `json:"-"`
	EndCharge    *float64 `json:"-"`
}

// PowerSource is what measured the power of the whole device.
type PowerSource string

const (
	FromBattery  PowerSource = "battery"  // its discharge, on battery
	FromExternal PowerSource = "external" // a meter outside the device, on mains
)

// SourceOfSystemW is what measured SystemW; "" where it is unknown, or was given in a table.
func (r *Run) SourceOfSystemW() PowerSource {
	switch {
	case r.SystemW == nil:
		return ""
	case r.SystemWSource == "" && r.Supply == Battery && r.Discharge != nil && r.Discharge.Watts != nil:
		return FromBattery
	}
	return r.SystemWSource
}

// Seconds is the run's duration in seconds, 0 where unknown.
func (r *Run) Seconds() float64 {
	if r.DurationS == nil {
		return 0
	}
	return *r.DurationS
}

// HasFinding tells whether the run has a finding of that code.
func (r *Run) HasFinding(code Code) bool {
	for _, f := range r.Findings {
		if f.Code == code {
			return true
		}
	}
	return false
}

// Coverage95 is the half width of a 95 % interval in standard uncertainties: the 0.975
// quantile of the normal distribution.
const Coverage95 = 1.959963984540054

// SystemUncertainty is the relative standard uncertainty of SystemW, computed from the
// uncertainty of the run's discharge; 0 where that is unknown. Its causes (a gauge's
// delay, its rounding) are the same in all repeats, so that repeating does not reduce it.
func (r *Run) SystemUncertainty() float64 {
	if r.SystemW == nil || *r.SystemW <= 0 || r.Discharge == nil || r.Discharge.UncertaintyWatts == nil {
		return 0
	}
	return *r.Discharge.UncertaintyWatts / Coverage95 / *r.SystemW
}

// Record is all that is kept of a run but its sweeps.
type Record struct {
	Run
	// WarmUpS is the warm-up at the start, s, given or found; nil for none.
	WarmUpS *float64 `json:"warmup_s"`
	// LoadEndS is where the load ended, s after the start, of a run that was idle at its
	// end; nil for none.
	LoadEndS *float64 `json:"load_end_s"`
	// Idle is what the device drew before the run, as far as its agent knew.
	Idle      IdlePower `json:"-"`
	Summaries []Summary `json:"summaries"`

	// Former are ids under which a run that is imported may be kept already: earlier
	// versions derived other ones from the same row. They are not kept themselves.
	Former []string `json:"-"`
	// Revision is that of the row of a table when it was exported; it is not kept.
	Revision string `json:"-"`
	// Corrected are the labels of which a person said later that they are others than
	// what was typed or read.
	Corrected []Field `json:"corrected,omitzero"`
}

// HasCorrected tells whether a label is one of Corrected.
func (r *Record) HasCorrected(what Field) bool { return slices.Contains(r.Corrected, what) }

// Summary is one sensor over one run. Numbers that could not be had are nil.
type Summary struct {
	Sensor   string   `json:"sensor"`
	Instance string   `json:"instance"`
	Unit     string   `json:"unit"`
	Mean     *float64 `json:"mean"` // time-weighted
	Min      *float64 `json:"min"`
	Max      *float64 `json:"max"`
	P95      *float64 `json:"p95"` // the value not exceeded for 95 % of the time
	First    *float64 `json:"first"`
	Last     *float64 `json:"last"`
	// EnergyJoules is the trapezoid integral of a power, or the difference of
	// an energy counter.
	EnergyJoules *float64 `json:"energy_joules"`
	// SteadyMean is the mean after the warm-up, nil where there was none.
	SteadyMean *float64 `json:"steady_mean"`
	// LoadMean is the mean until the load ended, nil where it lasted to the run's end.
	LoadMean *float64 `json:"load_mean"`
}

// Discharge is the mean power that left the batteries during a run: positive
// while discharging, negative while charging. Nil numbers are unknown.
type Discharge struct {
	Watts *float64 `json:"watts"`
	// UncertaintyWatts is the half width of a 95 % interval.
	UncertaintyWatts *float64 `json:"uncertainty_watts"`
	FromPowerWatts   *float64 `json:"from_power_watts"`
	FromEnergyWatts  *float64 `json:"from_energy_watts"`
}
