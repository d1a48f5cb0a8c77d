package collectors

import (
	"bytes"

	"sweepd/run"
)

// onlineCPUs counts the CPUs in devices/system/cpu/online, a list of numbers
// and inclusive ranges (Documentation/admin-guide/cputopology.rst).
type onlineCPUs struct{ roots Roots }

// NewCPUs counts the CPUs that are online.
func NewCPUs(roots Roots) Collector { return onlineCPUs{roots} }

func (onlineCPUs) Name() string { return "cpus" }

func (c onlineCPUs) Scan() ([]Offer, []Absence) {
	path := c.roots.sys("devices", "system", "cpu", "online")
	if !exists(path) {
		return nil, []Absence{{Collector: c.Name(), Source: path, Why: "no such file"}}
	}
	return []Offer{{
		Sensors: []run.Sensor{{ID: run.CPUsOnline, Kind: run.Gauge, Source: path, Resolution: 1}},
		Open:    openParsed(path, `a list such as "0-3,8" with at least one CPU`, someCPUs),
	}}, nil
}

// someCPUs counts the CPUs of a list that may not be empty.
func someCPUs(list []byte) (float64, bool) {
	n, ok := countCPUs(list)
	return float64(n), ok && n > 0
}

// countCPUs counts the members of a list such as "0-1,3". An empty list has
// none.
func countCPUs(list []byte) (n int64, ok bool) {
	for len(list) > 0 {
		item, rest, more := bytes.Cut(list, comma)
		if more && len(rest) == 0 {
			return 0, false
		}
		first, last, ranged := bytes.Cut(item, dash)
		if !ranged {
			last = first
		}
		a, okA := parseInt(first)
		b, okB := parseInt(last)
		if !okA || !okB || a < 0 || b < a {
			return 0, false
		}
		n += b - a + 1
		list = rest
	}
	return n, true
}

var comma, dash = []byte(","), []byte("-")
