package analysis

import "math"

// Denominators of efficiency, by the names of the fields that hold them.
const (
	ByPackage = "package_w"
	BySystem  = "system_w"
	BySetting = "setting_w"
)

// plateauLoss is how much less than the best still counts as the plateau.
const plateauLoss = 0.05

// Efficiency is where the result per watt is best: the setting of the peak and
// the unbroken stretch around it that loses less than 5 % or cannot be told from
// the best. Only settings inside the effective range count.
type Efficiency struct {
	By    string `json:"by"` // package_w, system_w or setting_w; empty: no watts are known
	PeakW Number `json:"peak_w"`
	FromW Number `json:"from_w"`
	ToW   Number `json:"to_w"`

	// The same by name, for settings without watts.
	Peak string `json:"peak"`
	From string `json:"from"`
	To   string `json:"to"`

	Noise       Number            `json:"noise"` // relative SD of the efficiency of one run
	NoiseSource NoiseSource       `json:"noise_source"`
	Points      []EfficiencyPoint `json:"points"`
}

// EfficiencyPoint is the efficiency at one setting with its pointwise 95 %
// interval: result per watt, or where lower is better the inverse of result times
// watts (1/(s W) = 1/J for a time), so that more is always better.
type EfficiencyPoint struct {
	SettingW Number `json:"setting_w"`
	Setting  string `json:"setting"`
	N        int    `json:"n"`
	Value    Number `json:"value"`
	Lower    Number `json:"lower"`
	Upper    Number `json:"upper"`
	Plateau  bool   `json:"plateau"`
}

// Is tells whether the point is of a setting: of its watts, or of its name where they are
// unknown.
func (p EfficiencyPoint) Is(watts Number, name string) bool {
	return sameSetting(p.SettingW, p.Setting, watts, name)
}

func noEfficiency() Efficiency {
	return Efficiency{PeakW: Unknown(), FromW: Unknown(), ToW: Unknown(), Noise: Unknown(), NoiseSource: NoiseNone, Points: []EfficiencyPoint{}}
}

// efficiency builds the efficiency of a group by one denominator: cells hold ln
// of the efficiency of every run, inside tells which settings are in the
// effective range.
func efficiency(by string, samples []sample, noise noiseEstimate, inside func(watts float64) bool) Efficiency {
	out := noEfficiency()
	out.By, out.Noise, out.NoiseSource = by, groupNoise(noise), noise.source
	all := estimates(samples, noise, false)
	var within []int
	for j, e := range all {
		lower, upper := e.interval()
		out.Points = append(out.Points, EfficiencyPoint{
			SettingW: Number(e.watts), Setting: samples[j].name, N: e.n,
			Value: expNumber(e.z), Lower: expNumber(lower), Upper: expNumber(upper),
		})
		if inside(e.watts) {
			within = append(within, j)
		}
	}
	if len(within) == 0 {
		return out
	}
	chosen := make([]estimate, len(within))
	for i, j := range within {
		chosen[i] = all[j]
	}
	peak, from, to := plateau(chosen)
	for i := from; i <= to; i++ {
		out.Points[within[i]].Plateau = true
	}
	out.PeakW, out.Peak = Number(chosen[peak].watts), samples[within[peak]].name
	out.FromW, out.From = Number(chosen[from].watts), samples[within[from]].name
	out.ToW, out.To = Number(chosen[to].watts), samples[within[to]].name
	return out
}

// plateau returns the setting of the best mean, the first if tied, and the ends
// of the unbroken stretch around it whose settings lose at most 5 % or cannot be
// told from the best. e is in order of setting and not empty. Where the noise is
// unknown only the 5 % count.
//
// Source: Hsu 1984, Ann. Stat. 12 (comparisons with the best), with the critical
// value q1(0.95; m-1, least nu).
func plateau(e []estimate) (peak, from, to int) {
	critical := bestCritical(e)
	best := e[highest(e)].z
	return stretchAround(e, func(j int) bool {
		return e[j].z >= best+math.Log1p(-plateauLoss) || amongBest(e, j, critical)
	})
}

// highest is the setting of the best mean, the first if tied.
func highest(e []estimate) (peak int) {
	for j := range e {
		if e[j].z > e[peak].z {
			peak = j
		}
	}
	return peak
}

// stretchAround returns the setting of the best mean and the ends of the unbroken stretch
// around it of settings that belong to it.
func stretchAround(e []estimate, belongs func(j int) bool) (peak, from, to int) {
	peak = highest(e)
	from, to = peak, peak
	for from > 0 && belongs(from-1) {
		from--
	}
	for to < len(e)-1 && belongs(to+1) {
		to++
	}
	return peak, from, to
}

// bestCritical is the critical value of comparisons with the best among e.
func bestCritical(e []estimate) float64 {
	if len(e) < 2 {
		return math.NaN()
	}
	nu := leastDF(e)
	if !(nu > 0) {
		return math.NaN()
	}
	return newMaxModulus(len(e)-1, nu).oneSided(confidence)
}

// amongBest tells whether setting j cannot be told from the best: no other is
// measurably above it.
func amongBest(e []estimate, j int, critical float64) bool {
	for i := range e {
		if i != j && !(e[j].z-e[i].z+critical*math.Sqrt(e[j].v+e[i].v) >= 0) {
			return false
		}
	}
	return true
}

// groupNoise is the relative SD of one run of a group: the root of the mean
// variance over its settings.
func groupNoise(n noiseEstimate) Number {
	sum := 0.0
	for _, c := range n.settings {
		sum += c.v
	}
	return Number(math.Sqrt(sum / float64(len(n.settings))))
}

// expNumber is exp(z), unknown where it would overflow.
func expNumber(z float64) Number { return Number(math.Exp(z)) }
