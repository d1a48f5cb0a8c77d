package simdevice

import (
	"math"
	"time"
)

// limiter is the controller that holds the package below the active setting.
// It clamps what it is told without saying so: the files go on showing the
// setting, only the measured power tells.
type limiter struct {
	floorW, capW float64 // W
	boost        float64 // ratio above the setting allowed while the mean is below it
	boostTime    time.Duration

	settingW float64 // as set
	profile  string  // platform profile, "custom" after a setting in watts
	actualW  float64 // what it holds instead of the setting; 0: it obeys
	meanW    float64 // running mean of package power
}

// effective is the limit that the controller works towards, W.
func (l *limiter) effective() float64 {
	if l.actualW > 0 {
		return l.actualW
	}
	return math.Min(math.Max(l.settingW, l.floorW), l.capW)
}

// allowed is the package power allowed during the next cell, W.
func (l *limiter) allowed() float64 {
	limit := l.effective()
	if l.boost > 0 && l.meanW < limit {
		return limit * (1 + l.boost)
	}
	return limit
}

// observe folds the package power of one cell into the running mean, which is
// the exact first-order response (see relax).
func (l *limiter) observe(packageW float64) {
	l.meanW = relax(l.meanW, packageW, cell, l.boostTime)
}
