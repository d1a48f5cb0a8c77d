package agent

import (
	"fmt"
	"sort"
	"strings"
)

// Supply is what feeds the device.
type Supply string

const (
	Mains   Supply = "mains"
	Battery Supply = "battery"
	// SupplyUnknown is for machines that do not say.
	SupplyUnknown Supply = ""
)

// State is where a run stands.
type State string

const (
	Recording   State = "recording"
	Finished    State = "finished"
	Interrupted State = "interrupted" // the agent died while recording
	Rejected    State = "rejected"    // by a finding or by the user; never deleted
)

// Labels say what a sweep or run belongs to.
type Labels struct {
	Device   string            `json:"device"`
	Workload string            `json:"workload"`
	Setting  Setting           `json:"setting"`
	Supply   Supply            `json:"supply"`
	Variant  map[string]string `json:"variant"`
}

// Variant pairs as text: sorted "k=v", joined by commas, empty when none.
func VariantText(v map[string]string) string {
	pairs := make([]string, 0, len(v))
	for k, x := range v {
		pairs = append(pairs, k+"="+x)
	}
	sort.Strings(pairs)
	return strings.Join(pairs, ",")
}

// Limits on what a user may type. Labels end up in metrics and file names.
const maxLabel = 200

// CheckLabel tells why text cannot be the label called what.
func CheckLabel(what, text string) error {
	switch {
	case strings.TrimSpace(text) == "":
		return fmt.Errorf("%s is empty", what)
	case len(text) > maxLabel:
		return fmt.Errorf("%s has %d bytes: at most %d are allowed", what, len(text), maxLabel)
	case strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0x7f || r == '\uFFFD' }):
		return fmt.Errorf("%s %q holds control characters or is not UTF-8: use one line of plain text", what, text)
	}
	return nil
}

// CheckVariantPair tells why k=v cannot be a variant.
func CheckVariantPair(k, v string) error {
	if err := CheckLabel("variant key", k); err != nil {
		return err
	}
	if err := CheckLabel("value of variant "+k, v); err != nil {
		return err
	}
	if strings.ContainsAny(k, "=,") || strings.ContainsAny(v, ",") {
		return fmt.Errorf("variant %q=%q: the key may not hold '=' or ',', the value no ','", k, v)
	}
	return nil
}

// Better says which results win.
type Better string

const (
	Higher Better = "higher"
	Lower  Better = "lower"
)

// Result is a number that the workload reported.
type Result struct {
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	Better Better  `json:"better"`
}

// Run is a run as lists show it.
type Run struct {
	ID string `json:"id"`
	Labels
	// SettingRead is what the system reported at the start; nil when it
	// reports nothing.
	SettingRead *Setting          `json:"setting_read"`
	State       State             `json:"state"`
	Why         string            `json:"why"`  // of a rejected run
	Note        string            `json:"note"` // the user's
	StartedAt   Timestamp         `json:"started_at"`
	DurationS   *float64          `json:"duration_s"` // nil while recording
	PackageW    *float64          `json:"package_w"`  // package energy / duration
	SystemW     *float64          `json:"system_w"`   // discharge on battery
	Results     map[string]Result `json:"results"`
	Findings    []Finding         `json:"findings"`
}

// Detail is all that is kept of a run but its sweeps.
type Detail struct {
	Run
	// WarmUpS is the warm-up at the start, s, given or found; nil for none.
	WarmUpS   *float64          `json:"warmup_s"`
	Summaries []Summary         `json:"summaries"`
	Discharge *Discharge        `json:"discharge"`
	Facts     map[string]string `json:"facts"`
}

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
