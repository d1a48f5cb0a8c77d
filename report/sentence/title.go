package sentence

import (
	"strings"

	"sweepd/analysis"
)

// EnoughTold is Enough where it is known well enough for the top of a page or a title, ""
// elsewhere; it has no full stop.
func EnoughTold(g *analysis.CurveGroup) string {
	if !enoughTold(g) || onlySetting(g) {
		return ""
	}
	return strings.TrimSuffix(Enough(g), ".")
}

// MostPerWatt is the efficiency that counts for a device, with the settings that give as
// much per watt as its best one, "at 12 W" or "from 8 W to 15 W"; "" where that is unknown.
func MostPerWatt(g *analysis.CurveGroup) (e *analysis.Efficiency, settings string) {
	e = efficiencyOf(g)
	if len(e.Points) < 2 || Setting(e.PeakW, e.Peak) == "" {
		return e, ""
	}
	return e, Range(Setting(e.FromW, e.From), Setting(e.ToW, e.To))
}
