package collectors

import (
	"path/filepath"
	"slices"
	"strings"
	"time"

	"sweepd/run"
)

// noLimitWatts: constraints above this are the largest number that the register
// holds (4090 W has been seen) and limit nothing. Common practice, no source.
const noLimitWatts = 1000

var limitMicrowatts = believedLimit.in(1e-6, "an integer (microwatts)")

// offerPowercapLimit offers the long-term limit of all packages together.
func offerPowercapLimit(zones []powercapZone) (Offer, bool) {
	var packages []string
	var sources []powercapLimitSource
	for _, z := range zones {
		if z.domain != "package" || z.parent != "" {
			continue
		}
		path := longTermConstraint(z.dir)
		if path == "" {
			continue
		}
		i := slices.Index(packages, z.name)
		if i < 0 {
			i = len(packages)
			packages = append(packages, z.name)
		}
		sources = append(sources, powercapLimitSource{pack: i, limit: path, enabled: filepath.Join(z.dir, "enabled")})
	}
	if len(sources) == 0 {
		return Offer{}, false
	}
	return Offer{
		Sensors:     []run.Sensor{{ID: run.PowerLimit, Instance: run.LimitPowercap, Unit: "watts", Source: sources[0].limit, Resolution: 1e-6}},
		MinInterval: settingInterval,
		Open:        func() (Probe, error) { return openPowercapLimit(sources, len(packages)) },
	}, true
}

// longTermConstraint is the file with a zone's long-term limit, empty where it
// has none.
func longTermConstraint(dir string) string {
	for _, file := range folderNames(dir) {
		prefix, ok := strings.CutSuffix(file, "_name")
		limit := filepath.Join(dir, prefix+"_power_limit_uw")
		if ok && staticText(dir, file) == "long_term" && exists(limit) {
			return limit
		}
	}
	return ""
}

// powercapLimitSource is one constraint; several control types may limit the
// same package.
type powercapLimitSource struct {
	pack           int
	limit, enabled string
}

// powercapLimit reads the sum over the packages of the least limit of each.
type powercapLimit struct {
	properties
	constraints []powercapConstraint
	least       []float64 // by package
	failed      causes
}

type powercapConstraint struct {
	pack           int
	limit, enabled *property
}

func openPowercapLimit(sources []powercapLimitSource, packages int) (Probe, error) {
	p := &powercapLimit{least: make([]float64, packages)}
	for _, s := range sources {
		c := powercapConstraint{pack: s.pack, limit: p.add(s.limit, limitMicrowatts)}
		if c.limit.file == nil && c.limit.err == nil {
			continue // it went since the scan
		}
		c.enabled = p.add(s.enabled, yesNo)
		p.constraints = append(p.constraints, c)
	}
	if err := p.ready(); err != nil {
		return nil, err
	}
	return p, nil
}

// Read gives a missing limit, without an error, where a package has none:
// nothing that can be called the limit exists then.
func (p *powercapLimit) Read(_ time.Duration, dst []float64) error {
	setMissing(p.least)
	for _, c := range p.constraints {
		watts := c.limit.value(&p.failed)
		off := c.enabled.value(&p.failed) == 0
		if !off && watts > 0 && watts <= noLimitWatts && !(p.least[c.pack] <= watts) {
			p.least[c.pack] = watts
		}
	}
	dst[0] = 0
	for _, watts := range p.least {
		dst[0] += watts
	}
	return p.failed.err()
}
