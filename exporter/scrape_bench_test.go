package exporter

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// nowhere takes an answer and keeps nothing of it but its length.
type nowhere struct {
	header http.Header
	bytes  int
}

func (n *nowhere) Header() http.Header         { return n.header }
func (n *nowhere) WriteHeader(int)             {}
func (n *nowhere) Write(b []byte) (int, error) { n.bytes += len(b); return len(b), nil }

// scrape asks a handler as Prometheus 2.42 does.
func scrape(h http.Handler) (bytes int) {
	r := httptest.NewRequest("GET", "/metrics", nil)
	r.Header.Set("Accept", "application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,text/plain;version=0.0.4;q=0.5,*/*;q=0.1")
	r.Header.Set("Accept-Encoding", "gzip")
	w := &nowhere{header: http.Header{}}
	h.ServeHTTP(w, r)
	return w.bytes
}

// What does a scrape cost, and what would the things cost that we leave out?
func BenchmarkScrape(b *testing.B) {
	compressed := func(m *Metrics) http.Handler {
		return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{EnableOpenMetrics: true})
	}
	variants := []struct {
		name    string
		handler func(*Metrics) http.Handler
	}{
		{"as it is", (*Metrics).Handler},
		{"without the footprint", func(m *Metrics) http.Handler {
			m.registry.Unregister(newFootprint())
			return m.Handler()
		}},
		{"with the default collectors", func(m *Metrics) http.Handler {
			m.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
			return m.Handler()
		}},
		{"compressed", compressed},
		{"compressed with the default collectors", func(m *Metrics) http.Handler {
			m.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
			return compressed(m)
		}},
		{"with 240 effects", func(m *Metrics) http.Handler {
			var list []Effect
			for i := range 240 {
				list = append(list, Effect{Device: "unit-oak", Workload: "tile-sort", Setting: fmt.Sprint(i, "W"), Result: "score", Ratio: 1, Lower: 0.9, Upper: 1.1})
			}
			m.showEffects("", "", list)
			return m.Handler()
		}},
	}
	for _, v := range variants {
		b.Run(v.name, func(b *testing.B) {
			_, m := newStill(recordingSnapshot())
			h := v.handler(m)
			b.ReportAllocs()
			bytes := 0
			for b.Loop() {
				bytes = scrape(h)
			}
			b.ReportMetric(float64(bytes), "B/answer")
		})
	}
}

// In steady state a scrape makes no series anew: what Metrics itself allocates,
// before the library copies what it collects, does not grow with them.
func TestSteadyStateMakesNoSeries(t *testing.T) {
	_, m := newStill(recordingSnapshot())
	m.showEffects("", "", []Effect{{Device: "unit-oak", Workload: "tile-sort", Setting: "15W", Result: "score", Ratio: 1, Lower: 0.9, Upper: 1.1}})
	collect := func() {
		ch := make(chan prometheus.Metric, 100)
		m.Collect(ch)
		close(ch)
	}
	collect()
	// The test's channel and list of health, and the summary of sweep times.
	if n := testing.AllocsPerRun(100, collect); n > 6 {
		t.Errorf("a scrape of unchanged series allocates %v times before anything is copied, want at most 6", n)
	}
}
