package simdevice

import (
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

	settingW float64 // as set
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
		l.settingW = profiles[i].watts
	} else if name != customProfile {
		return fmt.Errorf("the simulated device has no profile %q: it has %s and %s, or a limit in watts", name, strings.Join(strings.Fields(profileNames()), ", "), customProfile)
	}
	l.profile = name
	return nil
}

// customProfile is the profile after a setting in watts.
const customProfile = "custom"

// setWatts sets the limit in watts.
func (l *limiter) setWatts(watts float64) { l.settingW, l.profile = watts, customProfile }

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
