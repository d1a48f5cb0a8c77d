package simdevice

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// limiter is the controller that holds the package below the active setting.
// It clamps what it is told without saying so: the files go on showing the
// setting, only the measured power tells.
type limiter struct {
	floorW, capW float64 // W
	boost        float64 // ratio above the setting allowed while the mean is below it
	boostTime    time.Duration

	settingW float64 // as set: the sustained limit
	slowW    float64 // what the package may draw for a while, shown and no more
	fastW    float64 // and for a moment
	strict   bool    // a write that takes them out of their order is refused
	profile  string  // platform profile, "custom" after a setting in watts
	actualW  float64 // what it holds instead of the setting; 0: it obeys
	meanW    float64 // running mean of package power
}

// profile is a platform profile and the setting that it stands for, W.
type profile struct {
	name  string
	watts float64
}

// profiles of every device, in the order of their watts.
var profiles = [...]profile{{"low-power", 8}, {"balanced", 15}, {"performance", 28}}

// profileNames are the names of the profiles, separated by spaces.
func profileNames() string {
	var names []string
	for _, p := range profiles {
		names = append(names, p.name)
	}
	return strings.Join(names, " ")
}

// choose sets a platform profile and with it the limit; "custom" leaves the limit.
func (l *limiter) choose(name string) error {
	if i := slices.IndexFunc(profiles[:], func(p profile) bool { return p.name == name }); i >= 0 {
		l.setWatts(profiles[i].watts)
	} else if name != customProfile {
		return fmt.Errorf("the simulated device has no profile %q: it has %s and %s, or a limit in watts", name, strings.Join(strings.Fields(profileNames()), ", "), customProfile)
	}
	l.profile = name
	return nil
}

// customProfile is the profile after a setting in watts.
const customProfile = "custom"

// start sets the limit in watts that the device comes with, and the profile that stands for it.
func (l *limiter) start(watts float64) {
	l.setWatts(watts)
	if i := slices.IndexFunc(profiles[:], func(p profile) bool { return p.watts == watts }); i >= 0 {
		l.profile = profiles[i].name
	}
}

// What the firmware allows above the sustained limit, as a ratio to it.
const (
	slowRatio = 1.1
	fastRatio = 1.2
)

// setWatts sets the limit in watts, and with it those above it.
func (l *limiter) setWatts(watts float64) {
	l.settingW, l.slowW, l.fastW, l.profile = watts, whole(watts, slowRatio), whole(watts, fastRatio), customProfile
}

// whole is a limit above another one, in whole watts, as it is shown.
func whole(watts, ratio float64) float64 { return math.Max(watts, math.Round(watts*ratio)) }

// errOrder is a write that would put one limit above the next.
var errOrder = errors.New("the limits would be out of their order")

// writeOne sets one of the three limits: 0 the sustained, 1 the slow, 2 the fast one. None
// lies above the next: the firmware moves the others as far as it must, or refuses.
func (l *limiter) writeOne(which int, watts float64) error {
	all := [3]*float64{&l.settingW, &l.slowW, &l.fastW}
	for i, other := range all {
		if i < which && *other > watts || i > which && *other < watts {
			if l.strict {
				return errOrder
			}
		}
	}
	for i, other := range all {
		switch {
		case i < which:
			*other = math.Min(*other, watts)
		case i > which:
			*other = math.Max(*other, watts)
		}
	}
	*all[which], l.profile = watts, customProfile
	return nil
}

// effective is the limit that the controller works towards, W.
func (l *limiter) effective() float64 {
	if l.actualW > 0 {
		return l.actualW
	}
	return math.Min(math.Max(l.settingW, l.floorW), l.capW)
}

// allowed is the package power allowed during the next time step, W.
func (l *limiter) allowed() float64 {
	limit := l.effective()
	if l.boost > 0 && l.meanW < limit {
		return limit * (1 + l.boost)
	}
	return limit
}

// observe folds the package power of one time step into the running mean, by the
// exact first-order response (see relax).
func (l *limiter) observe(packageW float64) {
	l.meanW = relax(l.meanW, packageW, timeStep, l.boostTime)
}
