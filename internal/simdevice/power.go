package simdevice

import "math"

// leakRefC is the die temperature, in degrees Celsius, for which configured
// powers and curves hold.
const leakRefC = 50

// cmosWatts is the dynamic power of CMOS logic, W: activity * farad * volt^2 * hertz
// (Chandrakasan, Sheng & Brodersen 1992, IEEE J. Solid-State Circuits 27:473-484).
func cmosWatts(activity, farad, volt, hertz float64) float64 {
	return activity * farad * volt * volt * hertz
}

// leakWatts is the leakage at die temperature c: leakage grows about
// exponentially with temperature, doubling every 20 to 30 K (common practice,
// no source; the default scale of 35 K doubles every 24 K).
func leakWatts(atRef, scaleC, c float64) float64 {
	return atRef * math.Exp((c-leakRefC)/scaleC)
}

// clockSteps is the number of steps of the clock table.
const clockSteps = 256

// clockTable gives the clock at which all cores together use a share of the
// highest dynamic power, with a voltage that rises linearly with the clock:
// share = x (v + (1-v) x)^2, x the share of the highest clock.
type clockTable [clockSteps + 1]float64

func newClockTable(voltageRatio float64) *clockTable {
	var t clockTable
	x := 0.0
	for i := range t {
		want := float64(i) / clockSteps
		for range 60 { // Newton's method; the share grows with x, so it converges
			v := voltageRatio + (1-voltageRatio)*x
			slope := v*v + 2*x*v*(1-voltageRatio)
			x -= (cmosWatts(1, 1, v, x) - want) / slope
		}
		t[i] = x
	}
	return &t
}

// at returns the share of the highest clock for a share of the highest power.
func (t *clockTable) at(share float64) float64 {
	if !(share > 0) {
		return 0
	}
	if share >= 1 {
		return 1
	}
	p := share * clockSteps
	i := int(p)
	return t[i] + (p-float64(i))*(t[i+1]-t[i])
}
