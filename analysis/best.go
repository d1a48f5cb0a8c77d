package analysis

// Best is where the result itself is best: the setting of the best mean, and the
// unbroken stretch of settings around it that cannot be told from the best, by the
// procedure of Efficiency without its 5 %. Of all settings tested, inside the
// effective range or not. From and To are unknown where the noise is.
//
// The best mean is the highest of several and so on average a little too high.
type Best struct {
	AtW   Number `json:"at_w"`
	FromW Number `json:"from_w"`
	ToW   Number `json:"to_w"`

	// The same by name, for settings without watts.
	At   string `json:"at"`
	From string `json:"from"`
	To   string `json:"to"`
}

// bestOf finds the best among the means of cells, which is not empty.
//
// Source: Hsu 1984, Ann. Stat. 12 (comparisons with the best), see plateau.
func bestOf(samples []sample, e []estimate) Best {
	critical := bestCritical(e)
	best, from, to := stretchAround(e, func(j int) bool { return amongBest(e, j, critical) })
	out := Best{AtW: Number(e[best].watts), At: samples[best].name, FromW: Unknown(), ToW: Unknown()}
	if e[best].nu > 0 {
		out.FromW, out.From = Number(e[from].watts), samples[from].name
		out.ToW, out.To = Number(e[to].watts), samples[to].name
	}
	return out
}
