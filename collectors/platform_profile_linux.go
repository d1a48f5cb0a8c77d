package collectors

import (
	"math"
	"path/filepath"
	"strings"
	"time"

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
	class := c.roots.sys("class", "platform-profile")
	for _, name := range numbered(class, "platform-profile-") {
		if path := filepath.Join(class, name, "profile"); exists(path) {
			paths = append(paths, path)
		}
	}
	if len(paths) == 0 {
		return nil, []Absence{{Collector: c.Name(), Source: c.roots.sys("firmware", "acpi", "platform_profile"), Why: "no such driver"}}
	}
	return []Offer{{
		Sensors:     []run.Sensor{{ID: run.PlatformProfile, Source: paths[0], Resolution: 1}},
		MinInterval: settingInterval,
		Open:        func() (Probe, error) { return openProfile(paths) },
	}}, nil
}

type profile struct{ properties }

func openProfile(paths []string) (Probe, error) {
	p := &profile{}
	for _, path := range paths {
		p.dir = filepath.Dir(path)
		p.property(filepath.Base(path), limits{})
	}
	if err := p.ready(); err != nil {
		return nil, err
	}
	return p, nil
}

var profilesWanted = "one of " + strings.Join(run.PlatformProfiles, ", ")

func (p *profile) Read(_ time.Duration, dst []float64) error {
	var first error
	for _, source := range p.open {
		text, ok := source.text(&first)
		if !ok {
			continue
		}
		if i := indexOf(run.PlatformProfiles, text); i >= 0 {
			source.file.err = nil
			dst[0] = float64(i)
			return nil
		}
		if err := source.file.refuse(text, profilesWanted); first == nil {
			first = err
		}
	}
	dst[0] = math.NaN()
	return first
}
