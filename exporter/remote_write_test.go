package exporter

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// scraped is what a Prometheus would have stored of scrapes in simulated time,
// series by series in the order of the scrapes.
type scraped struct {
	target []string // labels that the scraper adds, name and value in turn
	series map[string]*scrapedSeries
}

type scrapedSeries struct {
	labels []string // names and values in turn, sorted by name
	points []point
	gone   bool
}

// staleMarker is the value by which Prometheus notes that a series was missing
// in a scrape (Prometheus remote write 1.0 specification, "Stale Markers").
var staleMarker = math.Float64frombits(0x7ff0000000000002)

// scrape notes what is exposed now.
func (s *scraped) scrape(t *testing.T, from prometheus.Gatherer, now time.Time) {
	t.Helper()
	families, err := from.Gather()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, f := range families {
		for _, m := range f.GetMetric() {
			value := 0.0
			switch {
			case m.GetGauge() != nil:
				value = m.GetGauge().GetValue()
			case m.GetCounter() != nil:
				value = m.GetCounter().GetValue()
			default:
				continue // the summary of sweep times has no part in this
			}
			labels := []string{"__name__", f.GetName()}
			for _, p := range m.GetLabel() {
				if p.GetValue() != "" { // an empty label is none
					labels = append(labels, p.GetName(), p.GetValue())
				}
			}
			seen[s.note(append(labels, s.target...), point{now, value})] = true
		}
	}
	for key, x := range s.series {
		if !seen[key] && !x.gone {
			x.gone = true
			x.points = append(x.points, point{now, staleMarker})
		}
	}
}

func (s *scraped) note(labels []string, p point) (key string) {
	pairs := make([][2]string, 0, len(labels)/2)
	for pair := range slices.Chunk(labels, 2) {
		pairs = append(pairs, [2]string(pair))
	}
	slices.SortFunc(pairs, func(a, b [2]string) int { return strings.Compare(a[0], b[0]) })
	sorted := make([]string, 0, len(labels))
	for _, pair := range pairs {
		sorted = append(sorted, pair[0], pair[1])
	}
	key = strings.Join(sorted, "\x00")
	x := s.series[key]
	if x == nil {
		x = &scrapedSeries{labels: sorted}
		s.series[key] = x
	}
	x.gone = false
	x.points = append(x.points, p)
	return key
}

// write hands all over by remote write, in requests of ten minutes each, since a
// Prometheus takes nothing that is much older than what it has.
func (s *scraped) write(t *testing.T, p prometheusServer) {
	t.Helper()
	var from, until time.Time
	for _, x := range s.series {
		if first := x.points[0].at; from.IsZero() || first.Before(from) {
			from = first
		}
		if last := x.points[len(x.points)-1].at; last.After(until) {
			until = last
		}
	}
	for ; !from.After(until); from = from.Add(10 * time.Minute) {
		s.post(t, p, s.request(from, from.Add(10*time.Minute)))
	}
}

// request is a WriteRequest in protocol buffers (remote.proto and types.proto
// of Prometheus): timeseries = 1 with labels = 1 (name = 1, value = 2) and
// samples = 2 (value = 1, timestamp = 2).
func (s *scraped) request(from, until time.Time) []byte {
	var request []byte
	for _, x := range s.series {
		var series []byte
		for pair := range slices.Chunk(x.labels, 2) {
			label := appendBytes(nil, 1, []byte(pair[0]))
			series = appendBytes(series, 1, appendBytes(label, 2, []byte(pair[1])))
		}
		n := len(series)
		for _, p := range x.points {
			if p.at.Before(from) || !p.at.Before(until) {
				continue
			}
			sample := binary.LittleEndian.AppendUint64([]byte{1<<3 | 1}, math.Float64bits(p.value))
			sample = binary.AppendUvarint(append(sample, 2<<3), uint64(p.at.UnixMilli()))
			series = appendBytes(series, 2, sample)
		}
		if len(series) > n {
			request = appendBytes(request, 1, series)
		}
	}
	return request
}

// appendBytes appends a field of bytes.
func appendBytes(to []byte, field uint64, value []byte) []byte {
	to = binary.AppendUvarint(to, field<<3|2)
	return append(binary.AppendUvarint(to, uint64(len(value))), value...)
}

// snappy packs without compressing, as literals of up to 65536 bytes (the
// library's format_description.txt, 2.1).
func snappy(data []byte) []byte {
	packed := binary.AppendUvarint(nil, uint64(len(data)))
	for part := range slices.Chunk(data, 1<<16) {
		packed = append(packed, 61<<2)
		packed = binary.LittleEndian.AppendUint16(packed, uint16(len(part)-1))
		packed = append(packed, part...)
	}
	return packed
}

func (s *scraped) post(t *testing.T, p prometheusServer, request []byte) {
	t.Helper()
	r, err := http.NewRequest("POST", p.url+"/api/v1/write", bytes.NewReader(snappy(request)))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Encoding", "snappy")
	r.Header.Set("Content-Type", "application/x-protobuf")
	r.Header.Set("X-Prometheus-Remote-Write-Version", "0.1.0")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if body, err := io.ReadAll(answer.Body); err != nil || answer.StatusCode/100 != 2 {
		t.Fatalf("remote write: %s: %s, error %v", answer.Status, body, err)
	}
}
