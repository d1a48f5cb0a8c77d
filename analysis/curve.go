package analysis

import (
	"fmt"
	"slices"

	"sweepd/run"
)

// enoughShare is the part of the best result that is enough unless said otherwise.
const enoughShare = 0.95

// CurveRequest says what Curve shall do. The zero value works.
type CurveRequest struct {
	Metric   string  // the result to draw; empty: the one most runs have, by the alphabet if tied
	Share    float64 // part of the best result that is enough, above 0 and at most 1; 0: 0.95
	Declared float64 // relative SD of one run, for groups without repeats; 0: not declared
}

// CurveResult is how a result changes with the setting: one group for each
// device, workload, variant and supply, in a fixed order.
type CurveResult struct {
	Metric     string       `json:"metric"`
	Unit       string       `json:"unit"`
	Better     string       `json:"better"`     // higher or lower
	Confidence float64      `json:"confidence"` // of every interval by itself, but of the marginal gains of a curve together
	Groups     []CurveGroup `json:"groups"`
	Notes      []Note       `json:"-"` // worded by whoever writes JSON
}

// CurveGroup is one curve. Lists are never null, unknown numbers are.
type CurveGroup struct {
	Device   string `json:"device"`
	Workload string `json:"workload"`
	Variant  string `json:"variant"`
	Supply   string `json:"supply"`

	N           int         `json:"n"`            // runs used
	Noise       Number      `json:"noise"`        // relative SD of one run; the mean square over the settings where it changes
	NoiseSource NoiseSource `json:"noise_source"` // what it was estimated from

	Points          []CurvePoint  `json:"points"`
	Best            Best          `json:"best"`
	Effective       Effective     `json:"effective"`
	Efficiency      Efficiency    `json:"efficiency"`   // by the best denominator there is
	Efficiencies    []Efficiency  `json:"efficiencies"` // by package, system and set watts, those that are known
	Enough          Enough        `json:"enough"`
	KneeW           Number        `json:"knee_w"`
	KneeSignificant bool          `json:"knee_told"` // the curve bends there by more than noise
	Marginal        []Marginal    `json:"marginal"`
	Departures      []DepartureAt `json:"departures"`
	Flagged         []FlaggedRun  `json:"flagged"`
	Notes           []Note        `json:"-"` // worded by whoever writes JSON

	made *curveGroup // by which claims are decided; nil for what was read from JSON
}

// CurvePoint is one setting of a curve. Mean is the geometric mean of the
// results, Lower and Upper its pointwise 95 % interval: each setting's own, so
// that of 20 settings one misses on average. Powers are arithmetic means in W
// over the runs that have them. PerPackageW and PerSystemW are geometric means
// of result/watts, PerSettingW is Mean/SettingW.
type CurvePoint struct {
	SettingW    Number      `json:"setting_w"`
	Setting     string      `json:"setting"` // the name where the watts are unknown
	N           int         `json:"n"`
	Mean        Number      `json:"mean"`
	Lower       Number      `json:"lower"`
	Upper       Number      `json:"upper"`
	Noise       Number      `json:"noise"` // relative SD of one run
	DF          Number      `json:"df"`    // of the noise; null where it is unknown or was declared
	NoiseSource NoiseSource `json:"noise_source"`
	PackageW    Number      `json:"package_w"`
	SystemW     Number      `json:"system_w"`
	PerPackageW Number      `json:"per_package_w"`
	PerSystemW  Number      `json:"per_system_w"`
	PerSettingW Number      `json:"per_setting_w"`
}

// Is tells whether the point is of a setting: of its watts, or of its name where they
// are unknown.
func (p CurvePoint) Is(watts Number, name string) bool {
	return sameSetting(p.SettingW, p.Setting, watts, name)
}

// Enough is the smallest setting that reaches Share of the best result inside
// the effective range, on the curve made to rise and without departed settings,
// with the 95 % interval of it. ToW is unknown where no setting is surely enough,
// both ends are without noise. AtW is moved into the interval.
type Enough struct {
	AtW   Number  `json:"at_w"`
	Share float64 `json:"share"`
	FromW Number  `json:"from_w"`
	ToW   Number  `json:"to_w"`
}

// DepartureAt is a setting that falls below the rising trend of the others.
type DepartureAt struct {
	SettingW  Number `json:"setting_w"`
	Setting   string `json:"setting"`
	Change    Number `json:"change"` // relative to what the trend lets expect; negative is worse
	PAdjusted Number `json:"p_adjusted"`
}

// FlaggedRun is a run that differs from its repeats. It stays in all numbers. Of
// two runs that differ from each other both are flagged, one after the other.
type FlaggedRun struct {
	Run      string `json:"run"`
	SettingW Number `json:"setting_w"`
	Setting  string `json:"setting"`
	N        int    `json:"n"` // runs of its side at the setting
}

// Curve describes how a result changes with the setting, for every device,
// workload, variant and supply among the runs. The runs are left alone, and
// their order does not matter. It fails if the request makes no sense or no run
// has the metric; anything less is said in notes.
func Curve(runs []run.Run, req CurveRequest) (CurveResult, error) {
	if err := req.check(); err != nil {
		return CurveResult{}, err
	}
	if req.Share == 0 {
		req.Share = enoughShare
	}
	metric, err := chooseMetric(runs, req.Metric)
	if err != nil {
		return CurveResult{}, fmt.Errorf("curve: %w", err)
	}
	d, groups := describeMetric(runs, metric), runsByGroup(runs)
	result := CurveResult{
		Metric: metric, Unit: d.unit, Better: d.better(), Confidence: confidence,
		Groups: []CurveGroup{}, Notes: slices.Concat([]Note{}, severalMachines(runs), d.notes),
	}
	for _, key := range sortedGroups(groups) {
		c := curveGroup{runs: runs, indices: groups[key], metric: d, req: req}
		if group, ok := c.build(key); ok {
			result.Groups = append(result.Groups, group)
		} else {
			others := slices.DeleteFunc(metricsIn(runs, groups[key]), func(s string) bool { return s == metric })
			result.Notes = append(result.Notes, Note{Code: NoteNoUsableResult, Group: key, Metric: metric, Count: len(groups[key]), Names: others})
		}
	}
	return result, nil
}

func (r CurveRequest) check() error {
	switch {
	case !(r.Share >= 0 && r.Share <= 1):
		return fmt.Errorf("curve: share %v: give a number above 0 and at most 1", r.Share)
	case !(r.Declared >= 0 && finite(r.Declared)):
		return fmt.Errorf("curve: declared noise %v: give a relative standard deviation such as 0.01", r.Declared)
	}
	return nil
}
