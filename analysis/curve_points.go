package analysis

import (
	"math"

	"sweepd/run"
)

// addPoints adds the table of settings.
func (c *curveGroup) addPoints() {
	perPackage := c.meansPer(packagePower)
	perSystem := c.meansPer(systemPower)
	for j, sample := range c.samples {
		e := c.means[j]
		lower, upper := e.interval()
		p := CurvePoint{
			SettingW: Number(sample.watts), Setting: sample.name, N: e.n,
			Mean: expNumber(e.z), Lower: expNumber(lower), Upper: expNumber(upper),
			Noise: Number(math.Sqrt(c.noise.settings[j].v)), DF: degreesOfFreedom(e), NoiseSource: c.noise.settings[j].source,
			PackageW: Number(c.meanPower(sample, packagePower)), SystemW: Number(c.meanPower(sample, systemPower)),
			PerPackageW: perPackage(sample), PerSystemW: perSystem(sample),
		}
		if c.metric.lower {
			p.Mean, p.Lower, p.Upper = expNumber(-e.z), expNumber(-upper), expNumber(-lower)
		}
		p.PerSettingW = p.Mean / p.SettingW
		c.out.Points = append(c.out.Points, p)
		c.out.N += e.n
	}
}

// meansPer returns the geometric mean of result/watts at every setting.
func (c *curveGroup) meansPer(power quantity) func(sample) Number {
	samples, _ := buildSamples(c.runs, c.indices, quotient(resultNamed(c.metric.name), power))
	means := make(map[run.Setting]Number, len(samples))
	for _, sample := range samples {
		means[sample.setting()] = expNumber(sample.mean())
	}
	return func(sample sample) Number {
		if mean, ok := means[sample.setting()]; ok {
			return mean
		}
		return Unknown()
	}
}

// meanPower is the arithmetic mean over the runs of a cell that have a usable
// power; NaN if none has.
func (c *curveGroup) meanPower(sample sample, power quantity) float64 {
	mean, _ := meanPower(c.runs, sample, power)
	return mean
}

// meanPower is the same with the number of runs that have it.
func meanPower(runs []run.Run, sample sample, power quantity) (mean float64, n int) {
	var values []float64
	for _, i := range sample.runs {
		if w, ok := power(&runs[i]); ok && usable(w) {
			values = append(values, w)
		}
	}
	return finiteMean(values), len(values)
}

// degreesOfFreedom is unknown where the noise is, and where it is declared.
func degreesOfFreedom(e estimate) Number {
	if !(e.nu > 0) {
		return Unknown()
	}
	return Number(e.nu)
}
