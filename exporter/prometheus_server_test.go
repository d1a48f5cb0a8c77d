package exporter

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// prometheusServer is a real Prometheus of this machine's package.
type prometheusServer struct{ url string }

// startPrometheus starts one in a folder of its own and waits until it is ready.
func startPrometheus(t *testing.T, config string, flags ...string) prometheusServer {
	t.Helper()
	program := program(t, "prometheus")
	dir := t.TempDir()
	file := filepath.Join(dir, "prometheus.yml")
	if err := os.WriteFile(file, []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	address := freeAddress(t)
	cmd := exec.Command(program, append([]string{"--config.file=" + file, "--storage.tsdb.path=" + filepath.Join(dir, "data"),
		"--storage.tsdb.retention.time=100y", "--web.listen-address=" + address, "--log.level=warn"}, flags...)...)
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // its data are of no interest any more
		<-ended
		if t.Failed() {
			t.Logf("prometheus said:\n%s", &said)
		}
	})
	p := prometheusServer{"http://" + address}
	await(t, "Prometheus to be ready", 30*time.Second, func() bool {
		select {
		case err := <-ended:
			ended <- err
			t.Fatalf("prometheus ended: %v", err)
		default:
		}
		r, err := http.Get(p.url + "/-/ready")
		if err != nil {
			return false
		}
		defer r.Body.Close()
		return r.StatusCode == http.StatusOK
	})
	return p
}

// program finds a program that a test needs. In CI it must be there.
func program(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is not installed (apt-get install prometheus), and in CI no test skips: %v", name, err)
	}
	t.Skipf("%s is not installed (apt-get install prometheus)", name)
	return ""
}

func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// await waits for something that another process brings about.
func await(t *testing.T, what string, limit time.Duration, ok func() bool) {
	t.Helper()
	for deadline := time.Now().Add(limit); !ok(); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("gave up after %v waiting for %s", limit, what)
		}
	}
}

// series is one of an answer: its labels and its points, one for an instant.
type series struct {
	labels map[string]string
	points []point
}

type point struct {
	at    time.Time
	value float64
}

// query asks for the value of an expression at a moment.
func (p prometheusServer) query(t *testing.T, expression string, at time.Time) []series {
	t.Helper()
	r, err := http.PostForm(p.url+"/api/v1/query", url.Values{"query": {expression}, "time": {strconv.FormatFloat(float64(at.UnixMilli())/1000, 'f', 3, 64)}})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		t.Fatalf("query %s: status %d, error %v: %s", expression, r.StatusCode, err, body)
	}
	var answer struct {
		Data struct {
			Result []struct {
				Metric map[string]string
				Value  *point
				Values []point
			}
		}
	}
	if err := json.Unmarshal(body, &answer); err != nil {
		t.Fatalf("query %s: %v: %s", expression, err, body)
	}
	var list []series
	for _, s := range answer.Data.Result {
		if s.Value != nil {
			s.Values = []point{*s.Value}
		}
		list = append(list, series{s.Metric, s.Values})
	}
	return list
}

// one asks for an expression that has a single value.
func (p prometheusServer) one(t *testing.T, expression string, at time.Time) float64 {
	t.Helper()
	list := p.query(t, expression, at)
	if len(list) != 1 || len(list[0].points) != 1 {
		t.Fatalf("query %s: %d series, want a single value", expression, len(list))
	}
	return list[0].points[0].value
}

// UnmarshalJSON reads [1435781451.781, "1.5"].
func (p *point) UnmarshalJSON(text []byte) error {
	var seconds float64
	var value string
	if err := json.Unmarshal(text, &[]any{&seconds, &value}); err != nil {
		return fmt.Errorf("point %s: %w", text, err)
	}
	v, err := strconv.ParseFloat(value, 64)
	p.at, p.value = time.UnixMilli(int64(seconds*1000+0.5)), v
	return err
}
