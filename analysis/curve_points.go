package analysis

import (
	"math"

	"sweepd/run"
)

// addPoints adds the table of settings.
func (c *curveGroup) addPoints() {
	perPackage := c.meansPer(PackagePower)
	perSystem := c.meansPer(SystemPower)
	for j, cell := range c.cells {
		e := c.means[j]
		lower, upper := e.interval()
		p := CurvePoint{
			SettingW: Number(cell.SettingW), Setting: cell.Name, N: e.n,
			Mean: expNumber(e.z), Lower: expNumber(lower), Upper: expNumber(upper),
			Noise: Number(math.Sqrt(c.noise.Cells[j].V)), DF: degreesOfFreedom(e), NoiseSource: c.noise.Cells[j].Source,
			PackageW: Number(c.meanPower(cell, PackagePower)), SystemW: Number(c.meanPower(cell, SystemPower)),
			PerPackageW: perPackage(cell), PerSystemW: perSystem(cell),
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
func (c *curveGroup) meansPer(power Quantity) func(Cell) Number {
	cells, _ := BuildCells(c.runs, c.indices, Per(Metric(c.metric.name), power))
	means := make(map[run.Setting]Number, len(cells))
	for _, cell := range cells {
		means[cell.setting()] = expNumber(cell.Mean())
	}
	return func(cell Cell) Number {
		if mean, ok := means[cell.setting()]; ok {
			return mean
		}
		return Unknown()
	}
}

// meanPower is the arithmetic mean over the runs of a cell that have a usable
// power; NaN if none has.
func (c *curveGroup) meanPower(cell Cell, power Quantity) float64 {
	mean, _ := c.meanPowerN(cell, power)
	return mean
}

func (c *curveGroup) meanPowerN(cell Cell, power Quantity) (mean float64, n int) {
	var values []float64
	for _, i := range cell.Runs {
		if w, ok := power(&c.runs[i]); ok && usable(w) {
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
