package collectors

import (
	"math"
	"path/filepath"
	"strings"

	"sweepd/run"
)

// platformProfile reads the active profile: firmware/acpi/platform_profile
// (Documentation/ABI/testing/sysfs-platform_profile), which speaks for all
// drivers and says custom where they differ, else the first of
// class/platform-profile/*/profile (sysfs-class-platform-profile, kernel 6.14).
type platformProfile struct{ roots Roots }

// NewPlatformProfile finds the platform profile.
func NewPlatformProfile(roots Roots) Collector { return platformProfile{roots} }

func (platformProfile) Name() string { return "platform_profile" }

func (c platformProfile) Scan() (offers []Offer, absences []Absence) {
	var paths []string
	if path := c.roots.sys("firmware", "acpi", "platform_profile"); exists(path) {
		paths = append(paths, path)
	}
	for _, dir := range c.roots.profileDrivers() {
		if path := filepath.Join(dir, "profile"); exists(path) {
			paths = append(paths, path)
		}
	}
	if len(paths) == 0 {
		return nil, []Absence{{Collector: c.Name(), Source: c.roots.sys("firmware", "acpi", "platform_profile"), Why: "no such driver"}}
	}
	return []Offer{{
		Sensors:     []run.Sensor{{ID: run.PlatformProfile, Source: paths[0], Resolution: 1}},
		MinInterval: settingInterval,
		Open:        func() (Probe, error) { return openFirstOf(paths, limits{}, profileIndex) },
	}}, nil
}

// profileDrivers lists the folders of the drivers that each have a profile
// (kernel 6.14).
func (r Roots) profileDrivers() []string {
	class := r.sys("class", "platform-profile")
	var dirs []string
	for _, number := range numbered(class, "platform-profile-") {
		dirs = append(dirs, filepath.Join(class, number))
	}
	return dirs
}

var profilesWanted = "one of " + strings.Join(run.PlatformProfiles, ", ")

// profileIndex is the profile's place in run.PlatformProfiles.
func profileIndex(p *property, failed *causes) float64 {
	text, ok := p.text(failed)
	if !ok {
		return math.NaN()
	}
	return p.indexIn(run.PlatformProfiles, text, text, profilesWanted, failed)
}
