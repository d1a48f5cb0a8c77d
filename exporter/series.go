package exporter

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/prometheus/client_golang/prometheus"

	"sweepd/agent"
)

// labelValues are the values of readingLabels, followed by more.
func labelValues(l agent.Labels, more ...string) []string {
	values := append([]string{l.Device, l.Workload, l.Setting.String(), string(l.Supply), agent.VariantText(l.Variant)}, more...)
	for i, v := range values {
		values[i] = valid(v)
	}
	return values
}

// valid makes text fit for a label. What comes from the system, such as the
// name of a profile, may be anything; a scrape may not fail for it.
func valid(text string) string { return strings.ToValidUTF8(text, "\uFFFD") }

// keyer makes the key of a label set. It allocates nothing once its memory has
// grown, for it is asked at every scrape.
type keyer struct {
	buf   []byte
	names []string
}

// key holds until the next call. Labels of equal values have equal keys; no
// label holds a zero byte (agent.CheckLabel).
func (k *keyer) key(l agent.Labels) []byte {
	b := k.buf[:0]
	for _, s := range [...]string{l.Device, l.Workload, string(l.Supply)} {
		b = append(append(b, s...), 0)
	}
	if l.Setting.Watts != nil {
		b = append(strconv.AppendFloat(b, *l.Setting.Watts, 'f', -1, 64), 'W')
	} else {
		b = append(b, l.Setting.Name...)
	}
	k.names = k.names[:0]
	for name := range l.Variant {
		k.names = append(k.names, name)
	}
	slices.Sort(k.names)
	for _, name := range k.names {
		b = append(append(b, 0), name...)
		b = append(append(b, '='), l.Variant[name]...)
	}
	k.buf = b
	return b
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

// counter is one child of a counter vector that follows a total kept elsewhere.
type counter struct {
	child prometheus.Counter
	total float64
}

func (c *counter) follow(total float64) {
	if total > c.total {
		c.child.Add(total - c.total)
		c.total = total
	}
}
