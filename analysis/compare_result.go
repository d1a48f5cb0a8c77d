package analysis

import "slices"

// Verdict says which side is ahead at a setting.
type Verdict string

const (
	VerdictA       Verdict = "a"       // side a is better beyond the noise
	VerdictB       Verdict = "b"       // side b is better beyond the noise
	VerdictTie     Verdict = "tie"     // the difference lies within the margin, surely
	VerdictUnclear Verdict = "unclear" // more runs would be needed to say
)

// CompareResult is what Compare found. Its JSON names are a contract.
type CompareResult struct {
	Comparisons []Comparison `json:"comparisons"`
	Across      *Across      `json:"across"`       // nil unless one pair of sides was compared in several workloads
	AcrossPairs []AcrossPair `json:"across_pairs"` // the same for every pair, where there are several
	Notes       []Note       `json:"-"`            // worded by whoever writes JSON
}

// Comparison is one pair of sides in one workload.
type Comparison struct {
	Metric   string  `json:"metric"`
	Unit     string  `json:"unit"`
	Better   string  `json:"better"`   // higher or lower
	Inverted bool    `json:"inverted"` // 1/result is compared: less of the result is better, and it is divided by watts
	Workload string  `json:"workload"`
	Factor   string  `json:"factor"` // device, supply, variant or selection
	A        string  `json:"a"`
	B        string  `json:"b"`
	Device   *string `json:"device"`  // nil where the sides differ in it
	Supply   *string `json:"supply"`  // nil where the sides differ in it
	Variant  *string `json:"variant"` // nil where the sides differ in it
	At       string  `json:"at"`      // the watts on the axis: setting, package or system
	Per      string  `json:"per"`     // results are divided by these watts: setting, package or system; "" for none

	Margin       float64     `json:"margin"`     // relative difference that does not matter
	Confidence   float64     `json:"confidence"` // of all bounds of the settings together, and of every other interval by itself
	AdjustedFor  int         `json:"adjusted_for"`
	NoiseA       Number      `json:"noise_a"` // relative SD of one run, mean square over the settings
	NoiseB       Number      `json:"noise_b"`
	NoiseSourceA NoiseSource `json:"noise_source_a"`
	NoiseSourceB NoiseSource `json:"noise_source_b"`
	Blocks       int         `json:"blocks"` // passes whose common shifts were taken out; 0: none

	Settings  []SettingComparison `json:"settings"`
	Bands     []Band              `json:"bands"`
	Crossings []Crossing          `json:"crossings"`
	Overall   *Overall            `json:"overall"` // nil without a shared setting

	// The same over the settings that are not known to be kept by one side only, or by
	// none: elsewhere equal settings are not equal power. A setting left out makes no
	// band and ends one, and no crossing is claimed across it.
	BandsFollowed     []Band     `json:"bands_followed"`
	CrossingsFollowed []Crossing `json:"crossings_followed"`
	OverallFollowed   *Overall   `json:"overall_followed"` // nil without such a setting

	Flagged     []FlaggedRun `json:"flagged"`
	Confounders []Note       `json:"-"` // worded by whoever writes JSON
	Notes       []Note       `json:"-"` // worded by whoever writes JSON

	// Part says that Overall, Bands and Crossings leave settings out that a side does not
	// keep, see Budget.Restate.
	Part bool `json:"-"`

	effect effect
	pair   pair
	made   *comparisonBuilder // by which claims are decided; nil for what was read from JSON
}

// SettingComparison is the outcome at one setting, or, where the sides are aligned
// at measured watts, at SettingW of those. Means are geometric. Diff is
// a/b - 1; Lower and Upper are its bounds, which hold at all settings of the
// family together. SE is the standard error of ln(a/b) and DF its degrees of
// freedom.
type SettingComparison struct {
	SettingW  Number  `json:"setting_w"`
	Setting   string  `json:"setting"` // the name where the watts are unknown
	NA        int     `json:"n_a"`
	NB        int     `json:"n_b"`
	MeanA     Number  `json:"mean_a"`
	MeanB     Number  `json:"mean_b"`
	Diff      Number  `json:"diff"`
	Lower     Number  `json:"lower"`
	Upper     Number  `json:"upper"`
	SE        Number  `json:"se"`
	DF        Number  `json:"df"` // null where the noise is declared, and so without limit
	PAdjusted Number  `json:"p_adjusted"`
	Verdict   Verdict `json:"verdict"`
	MoreRuns  *int    `json:"more_runs"`   // further runs on each side that would settle it; nil where nothing tells
	Followed  *bool   `json:"followed"`    // both sides keep to the setting, by their package watts; nil where those do not tell
	PackageWA Number  `json:"package_w_a"` // mean package watts
	PackageWB Number  `json:"package_w_b"`
}

// Is tells whether the comparison is of a setting: of its watts, or of its name where
// they are unknown.
func (s SettingComparison) Is(watts Number, name string) bool {
	return sameSetting(s.SettingW, s.Setting, watts, name)
}

func sameSetting(watts Number, name string, otherWatts Number, otherName string) bool {
	return name == otherName && (watts == otherWatts || !watts.Known() && !otherWatts.Known())
}

// Band is a maximal stretch of consecutive shared settings with one verdict. Diff is the
// mean of a/b over them, less 1; because the bounds of all settings hold together, the
// means of them, Lower and Upper, bound it.
type Band struct {
	FromW   Number  `json:"from_w"`
	ToW     Number  `json:"to_w"`
	From    string  `json:"from"` // names where the watts are unknown
	To      string  `json:"to"`
	Verdict Verdict `json:"verdict"`
	Diff    Number  `json:"diff"`
	Lower   Number  `json:"lower"`
	Upper   Number  `json:"upper"`
}

// Crossing is where one side overtakes the other, with its interval in watts.
type Crossing struct {
	AtW    Number `json:"at_w"`
	LowerW Number `json:"lower_w"`
	UpperW Number `json:"upper_w"`
}

// Overall is the mean relative difference over the shared settings.
type Overall struct {
	Diff    Number  `json:"diff"`
	Lower   Number  `json:"lower"`
	Upper   Number  `json:"upper"`
	SE      Number  `json:"se"`
	DF      Number  `json:"df"`
	Verdict Verdict `json:"verdict"`
}

// Across is the mean of the workloads' overall differences. Where less is better
// in some and more in others, those where less is better are turned over, and
// Better is higher.
type Across struct {
	Diff      Number  `json:"diff"`
	Lower     Number  `json:"lower"`
	Upper     Number  `json:"upper"`
	Workloads int     `json:"workloads"`
	Better    string  `json:"better"` // higher or lower
	Verdict   Verdict `json:"verdict"`
}

// AcrossPair is Across for one pair of sides.
type AcrossPair struct {
	A       string  `json:"a"`
	B       string  `json:"b"`
	Device  *string `json:"device"`
	Supply  *string `json:"supply"`
	Variant *string `json:"variant"`
	Across
}

// Kept is the comparison over the settings that are not known to be kept by one side only,
// or by none: elsewhere equal settings are not equal power. Its settings are all of them.
func (c *Comparison) Kept() Comparison {
	out := *c
	if slices.ContainsFunc(c.Settings, func(s SettingComparison) bool { return !s.Counts() }) {
		out.Bands, out.Crossings, out.Overall, out.Part = c.BandsFollowed, c.CrossingsFollowed, c.OverallFollowed, true
	}
	return out
}

// Counts tells whether a setting counts in what is said of a comparison at first.
func (s *SettingComparison) Counts() bool { return s.Followed == nil || *s.Followed }

// Shared tells whether both sides have runs at a setting.
func (s *SettingComparison) Shared() bool { return s.NA > 0 && s.NB > 0 }

// Groups are the runs that the comparison's sides consist of, by their labels.
func (c *Comparison) Groups() (a, b Group) { return c.pair.a, c.pair.b }
