package exporter

import (
	"math"

	"github.com/prometheus/client_golang/prometheus"

	"sweepd/run"
)

// labelValues are the values of readingLabels, followed by more. Texts from the system,
// such as the name of a profile, may be anything, and no scrape may fail because of one.
func labelValues(l run.Labels, more ...string) []string {
	values := append([]string{l.Device, l.Workload, l.Setting.String(), string(l.Supply), string(l.Variant)}, more...)
	for i, v := range values {
		values[i] = run.Visible(v)
	}
	return values
}

// gauge is one child of a vector, looked up once. While its value is missing it
// is not exposed: a missing sensor is never zero.
type gauge struct {
	vec    *prometheus.GaugeVec
	values []string
	child  prometheus.Gauge
}

func (g *gauge) set(x float64) {
	if math.IsNaN(x) {
		g.drop()
		return
	}
	if g.child == nil {
		g.child = g.vec.WithLabelValues(g.values...)
	}
	g.child.Set(x)
}

func (g *gauge) drop() {
	if g.child != nil {
		g.vec.DeleteLabelValues(g.values...)
		g.child = nil
	}
}

// counter is one child of a counter vector, for a total that is kept elsewhere.
type counter struct {
	child prometheus.Counter
	total float64
}

func (c *counter) raiseTo(total float64) {
	if total > c.total {
		c.child.Add(total - c.total)
		c.total = total
	}
}
