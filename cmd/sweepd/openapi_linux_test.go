package main

import (
	"bytes"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"

	"sweepd/console"
)

// TestAnswersAreAsDescribed asks a real agent over HTTP, and has a validator of OpenAPI
// descriptions hold each request and answer to what the agent says of itself.
func TestAnswersAreAsDescribed(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	liveDevice(t)
	a := startAgent(t, "--data", data)
	text, err := console.OpenAPI()
	if err != nil {
		t.Fatal(err)
	}
	document, err := libopenapi.NewDocument(bytes.ReplaceAll(text, []byte(console.DefaultURL), []byte(a.url)))
	if err != nil {
		t.Fatal(err)
	}
	v, errs := validator.NewValidator(document)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	if ok, problems := v.ValidateDocument(); !ok {
		for _, p := range problems {
			t.Errorf("the description: %s: %s %v", p.Message, p.Reason, p.SchemaValidationErrors)
		}
	}
	token, err := os.ReadFile(filepath.Join(data, "api.token"))
	if err != nil {
		t.Fatal(err)
	}
	ask := func(method, path, body string, status int) {
		t.Helper()
		request := func() *http.Request {
			r, err := http.NewRequestWithContext(t.Context(), method, a.url+path, strings.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			if method == http.MethodPost {
				r.Header.Set("Content-Type", "application/json")
				if strings.Contains(path, "/import") {
					r.Header.Set("Content-Type", "application/octet-stream")
				}
			}
			r.Header.Set("Sweepd-Token", strings.TrimSpace(string(token)))
			return r
		}
		resp, err := http.DefaultClient.Do(request())
		if err != nil {
			t.Fatal(err)
		}
		answer, err := io.ReadAll(resp.Body)
		if err != nil || resp.StatusCode != status {
			t.Errorf("%s %s: %v, status %d: %s", method, path, err, resp.StatusCode, answer)
		}
		resp.Body = io.NopCloser(bytes.NewReader(answer))
		if ok, problems := v.ValidateHttpRequestResponse(request(), resp); !ok {
			for _, p := range problems {
				t.Errorf("%s %s: %s: %s %v\n%.400s", method, path, p.Message, p.Reason, p.SchemaValidationErrors, answer)
			}
		}
	}
	for _, q := range []struct {
		path, body string
		status     int
	}{
		{"/setting", `{"setting":"25W"}`, 200}, {"/setting", `{"setting":7}`, 400},
		{"/runs/start", `{"workload":"tile-sort","variant":{"cores":"6"}}`, 200}, {"/runs/stop", `{"results":{"score":{"value":12}}}`, 200}, {"/runs/stop", `{}`, 409},
		{"/plans", `{"devices":["unit-oak"],"workloads":["harbour-flight"],"settings":["8-28/4"],"repeats":1}`, 200}, {"/plans", `{"workloads":[]}`, 400},
		{"/plan/extend", `{"repeats":1}`, 200}, {"/runs/last/reject", `{"why":"an update ran"}`, 200}, {"/runs/last/keep", `{"why":"it did not"}`, 200},
		{"/import?file=table.csv", "device,workload,setting_w,fps_mean\nunit-oak,tile-sort,25,60\n", 200},
	} {
		if q.path == "/runs/stop" && q.body == "{}" || q.path == "/setting" && q.status == 400 || q.path == "/plans" && q.status == 400 {
			continue // the request itself is against the description
		}
		ask(http.MethodPost, "/api/v1"+q.path, q.body, q.status)
	}
	for _, path := range []string{
		"/status", "/sensors", "/ready", "/ready?supply=battery&charge=0.6", "/runs", "/runs?supply=battery&last=3&zone=Europe%2FOslo", "/runs/last", "/doubts",
		"/compare?by=device", "/compare?by=supply&per=package&margin=0.03", "/compare?by=device&price=unit-oak%3D599EUR&price=unit-elm%3D449EUR",
		"/curve", "/curve?device=unit-oak&noise=0.01", "/battery?full_energy=48.6Wh&reserve=0.05", "/plan", "/plan/next", "/plan/next/start?device=unit-oak", "/plans", "/plan.csv",
		"/export.csv?device=unit-oak", "/export.json?last=1", "/check", "/standing", "/report?device=unit-oak",
	} {
		ask(http.MethodGet, "/api/v1"+path, "", 200)
	}
	ask(http.MethodGet, "/api/v1/runs/ffffffff", "", 404)
	ask(http.MethodGet, "/api/v1/compare?by=device&metric=none", "", 422)
	ask(http.MethodGet, "/api/v1/compare", "", 400)
}
