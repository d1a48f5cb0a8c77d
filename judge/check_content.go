package judge

import (
	"fmt"
	"math"
	"strings"
	"time"

	"sweepd/run"
)

// findings say where a battery's content is not what its power makes of it: steps, or
// another flow all along.
func (e *dischargeEstimate) findings(duration float64) []run.Finding {
	var texts []string
	var at time.Time
	for i := range e.batteries {
		t := &e.batteries[i]
		if t.steps > 0 {
			texts = append(texts, t.stepText())
			at = t.largest.at.Wall
		}
		if t.contradicted(duration) {
			texts = append(texts, fmt.Sprintf("%s gave %.1f W by its power, but %.1f W by its content: neither is believed, so the discharge is unknown",
				t.name(), t.fromPower(duration).watts, t.fromEnergy(duration).watts))
		}
	}
	if len(texts) == 0 {
		return nil
	}
	return []run.Finding{{Code: run.ContentStep, Severity: run.SeverityDoubt, Text: strings.Join(texts, "; "), At: at}}
}

func (t *batteryTrack) name() string {
	if t.b.Instance == "" {
		return "the battery"
	}
	return "battery " + t.b.Instance
}

const joulesPerWh = 3600

// stepText says when and how far the content stepped, and what the battery's power says.
func (t *batteryTrack) stepText() string {
	x := &t.largest
	verb := "fell"
	if x.Joules > 0 {
		verb = "rose"
	}
	text := fmt.Sprintf("the content of %s %s by %.2f Wh within %.1f s at %s, while ", t.name(), verb, math.Abs(x.Joules)/joulesPerWh, x.Over.Seconds(), clockTime(x.at.Wall))
	switch {
	case math.IsNaN(x.Watts):
		text += "no such battery can give or take so much"
	case x.Watts < 0:
		text += fmt.Sprintf("%.1f W flowed into it by its power", -x.Watts)
	default:
		text += fmt.Sprintf("%.1f W left it by its power", x.Watts)
	}
	if x.Full != x.FullWas {
		text += fmt.Sprintf(" and its full content changed from %.2f to %.2f Wh", x.FullWas/joulesPerWh, x.Full/joulesPerWh)
	}
	if t.steps > 1 {
		text += fmt.Sprintf(" (the largest of %d such steps)", t.steps)
	}
	return text + ": it is not counted as discharge"
}
