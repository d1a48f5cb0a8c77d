package console

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"

	"sweepd/run"
)

// described is the description of the API as a program of somebody else's reads it
// (github.com/getkin/kin-openapi, which takes 9 s of one processor to compile;
// github.com/pb33f/libopenapi-validator took minutes).
var described = sync.OnceValue(func() routers.Router {
	text, err := OpenAPI()
	if err != nil {
		panic(err)
	}
	d, err := openapi3.NewLoader().LoadFromData(text)
	if err != nil {
		panic(err)
	}
	d.Servers = nil // any
	r, err := gorillamux.NewRouter(d)
	if err != nil {
		panic(err)
	}
	return r
})

// checkDescribed tells how an answer, and a request that was understood, differ from the
// description. Every answer that a test of this package gets goes through it.
func checkDescribed(r *http.Request, body string, w *httptest.ResponseRecorder) error {
	r = r.Clone(r.Context())
	r.Body = http.NoBody
	if body != "" {
		r.Body = readCloser{strings.NewReader(body)}
	}
	route, parameters, err := described().FindRoute(r)
	if err != nil {
		if slices.Contains([]int{http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusMethodNotAllowed}, w.Code) {
			return nil
		}
		return fmt.Errorf("%s %s is answered and not described: %w", r.Method, r.URL, err)
	}
	o := &openapi3filter.Options{MultiError: true, IncludeResponseStatus: true, AuthenticationFunc: openapi3filter.NoopAuthenticationFunc}
	in := &openapi3filter.RequestValidationInput{Request: r, PathParams: parameters, Route: route, Options: o}
	if w.Code < 300 {
		if err := openapi3filter.ValidateRequest(r.Context(), in); err != nil {
			return fmt.Errorf("the request %s %s %s: %w", r.Method, r.URL, body, err)
		}
	}
	out := &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: w.Code, Header: w.Header(), Options: o}
	out.SetBodyBytes(bytes.Clone(w.Body.Bytes()))
	if err := openapi3filter.ValidateResponse(r.Context(), out); err != nil {
		return fmt.Errorf("the answer %d to %s %s: %w\n%.500s", w.Code, r.Method, r.URL, err, w.Body)
	}
	return nil
}

type readCloser struct{ *strings.Reader }

func (readCloser) Close() error { return nil }

// The description keeps the rules of OpenAPI 3.1, and the check of answers finds what is
// wrong.
func TestDescriptionIsValid(t *testing.T) {
	text, err := OpenAPI()
	if err != nil {
		t.Fatal(err)
	}
	d, err := openapi3.NewLoader().LoadFromData(text)
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Validate(t.Context(), openapi3.IsOpenAPI31OrLater()); err != nil {
		t.Error(err)
	}
	r := httptest.NewRequest("GET", "http://127.0.0.1:9745/api/v1/ready", nil)
	for body, good := range map[string]bool{
		`{"fit":true,"reasons":null,"celsius":null,"above_baseline":1.5,"target":null,"expected_s":null}`: true,
		`{"fit":true,"reasons":null,"celsius":"x","above_baseline":1.5,"target":null,"expected_s":null}`:  false,
		`{"fit":true}`: false, `[]`: false,
	} {
		w := httptest.NewRecorder()
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.WriteString(body)
		if err := checkDescribed(r, "", w); (err == nil) != good {
			t.Errorf("%s: %v", body, err)
		}
	}
	w := httptest.NewRecorder()
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(500)
	_, _ = w.WriteString(`{"error":"x"}`)
	if err := checkDescribed(r, "", w); err == nil {
		t.Error("a failure that is no problem passes")
	}
}

// Every operation that is described answers, and as it is described: ask holds each
// answer against the description.
func TestEveryOperationAnswers(t *testing.T) { onEach(t, everyOperationAnswers) }

func everyOperationAnswers(t *testing.T, h subject) {
	table := "device,workload,variant,supply,setting_w,started_at,duration_s,package_w,system_w,fps_mean\n"
	for i := range 24 {
		device, supply := []string{"unit-oak", "unit-elm"}[i%2], []string{"mains", "battery"}[i/2%2]
		table += fmt.Sprintf("%s,harbour-flight,cores=6,%s,%d,2026-05-04T%02d:%02d:00Z,60,%d,%d,%d.5\n", device, supply, 10+5*(i/4%3), 9+i/12, i%12*5, 9+i/4, 14+i/4, 40+3*(i/4)+i%2)
	}
	asked := map[string]bool{}
	tell := func(method, path, body string, status ...int) string {
		t.Helper()
		w := ask(h, method, "/api/v1"+path, body, func(r *http.Request) {
			if method == "POST" && strings.Contains(path, "?") {
				r.Header.Set("Content-Type", octets)
			}
			if strings.HasSuffix(path, "/beat") {
				beating(body)(r)
			}
		})
		if len(status) == 0 {
			status = []int{200}
		}
		if !slices.Contains(status, w.Code) {
			t.Errorf("%s %s: %d %.300s", method, path, w.Code, w.Body)
		}
		route, _, err := described().FindRoute(httptest.NewRequest(method, "/api/v1"+path, nil))
		if err != nil {
			t.Fatalf("%s %s: %v", method, path, err)
		}
		asked[method+" "+route.Path] = true
		return w.Body.String()
	}
	tell("POST", "/import?file=table.csv&new=true", table)
	tell("GET", "/imports", "")
	var list []run.Run
	if err := json.Unmarshal([]byte(tell("GET", "/runs", "")), &list); err != nil || len(list) != 24 {
		t.Fatalf("%d runs, %v", len(list), err)
	}
	id := list[0].ID
	for _, path := range []string{
		"/status", "/sensors", "/ready", "/ready?supply=battery&charge=0.6&setting=25W&variant=cores%3D6", "/runs?supply=battery&last=3&zone=Europe%2FOslo", "/runs/" + id, "/doubts", "/course", "/course?minutes=60",
		"/compare?by=device", "/compare?by=supply&per=package&margin=0.03", "/compare?by=device&price=unit-oak%3D599EUR&price=unit-elm%3D449EUR",
		"/curve", "/curve?device=unit-oak&noise=0.01", "/battery?full_energy=48.6Wh&reserve=0.05", "/export.csv?device=unit-oak", "/export.json?last=1", "/check", "/standing", "/devices", "/schedule/outcomes", "/report?device=unit-oak", "/comparison",
	} {
		tell("GET", path, "")
	}
	tell("GET", "/compare?by=device&metric=none", "", 422)
	tell("GET", "/compare", "", 400)
	tell("GET", "/course?minutes=61", "", 400)
	tell("GET", "/runs/ffffffff", "", 404)
	tell("GET", "/runs/"+id+"/limit", "", 400) // an imported run has no sweeps
	tell("GET", "/plan", "", 404)

	tell("POST", "/setting", `{"setting":"25W"}`)
	tell("POST", "/names", `{"workloads":["harbor-flight"]}`)
	tell("POST", "/plans", `{"devices":["unit-oak"],"workloads":["harbour-flight"],"settings":["10-20/5"],"repeats":1}`)
	for _, path := range []string{"/plan", "/plan/next", "/plan/next/start?device=unit-oak", "/plans", "/plan.csv"} {
		tell("GET", path, "")
	}
	tell("POST", "/plan/extend", `{"repeats":1}`)
	tell("POST", "/plans/1/follow", `{}`, 422)

	var r run.Run
	if err := json.Unmarshal([]byte(tell("POST", "/runs/start", `{"workload":"tile-sort","variant":{"cores":"6"},"stop_after_s":600}`)), &r); err != nil {
		t.Fatal(err)
	}
	tell("POST", "/runs/start", `{"workload":"tile-sort"}`, 409)
	tell("POST", "/runs/"+r.ID+"/stop_after", `{"after_s":0}`, 204)
	tell("POST", "/runs/"+r.ID+"/stop_after", `{"after_s":1e9}`, 400)
	tell("POST", "/runs/"+r.ID+"/stop_after", `{}`, 400)
	tell("POST", "/runs/stop", `{"results":{"score":{"value":12}}}`)
	tell("POST", "/runs/"+r.ID+"/stop_after", `{"after_s":60}`, 409)
	tell("POST", "/runs/"+r.ID+"/results", `{"results":{"score":{"value":13,"better":"higher"}}}`)
	tell("POST", "/runs/"+r.ID+"/changed", `{}`, 204)
	tell("POST", "/runs/"+id+"/reject", `{"why":"an update ran"}`)
	tell("POST", "/runs/"+id+"/keep", `{"why":"it did not"}`)
	tell("POST", "/runs/"+id+"/unkeep", `{"why":""}`)
	tell("POST", "/runs/"+r.ID+"/trim", `{"end":"3s"}`, 200, 400, 409, 422, 500)
	tell("POST", "/runs/"+r.ID+"/meter?file=log.csv&new=true", "time,watts\n", 400, 422, 500)
	tell("POST", "/results?file=results.csv", "run,score\n"+r.ID+",14\n", 200, 400, 422)
	var c struct {
		ID string `json:"id"`
	}
	if err := json.Unmarshal([]byte(tell("POST", "/runs/correct", `{"runs":["`+id+`"],"set":{"workload":"tile-sort"},"why":"typed wrong","who":"somebody"}`)), &c); err != nil {
		t.Error(err)
	}
	tell("GET", "/corrections", "")
	tell("POST", "/corrections/undo", `{"correction":"`+c.ID+`"}`)
	tell("POST", "/devices/rename", `{"old":"unit-elm","new":"unit-ash"}`)
	tell("POST", "/imports/undo", `{"import":"1"}`)
	tell("POST", "/merge?name=other.db&bytes=3", "abc", 400, 422, 500)
	tell("POST", "/report?device=unit-oak", "frames,", 400)

	tell("GET", "/actuators", "", 200, 422)
	tell("GET", "/plan/run", "")
	tell("POST", "/plan/run", `{}`, 409)
	tell("POST", "/plan/run", `{"consent":true}`)
	tell("POST", "/plan/run/dry", `{}`)
	tell("POST", "/plan/run/pause", `{"why":"lunch"}`)
	tell("POST", "/plan/run/resume", `{}`)
	tell("POST", "/plan/run/stop", `{"now":true}`)
	tell("POST", "/plan/run/beat", `{"runner":"r","done":{"job":"j","failure":"","results":{"score":{"value":7,"unit":"","better":"higher"}},"missing":"","tail":"","left_behind":false,"took_s":1.5}}`)
	tell("POST", "/plan/run/beat", `{}`, 400)

	tell("POST", "/pair", `{"code":"x"}`, 403)
	tell("POST", "/phones/pairing", `{"name":"my phone"}`)
	tell("POST", "/phones/program", `{"name":"scraper"}`, 500) // without a folder to keep it in; TestProgram has one
	tell("GET", "/phones", "", 403)                            // without the right
	tell("POST", "/phones/none/revoke", `{}`, 404)

	text, err := OpenAPI()
	if err != nil {
		t.Fatal(err)
	}
	var d struct {
		Paths map[string]map[string]any `json:"paths"`
	}
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatal(err)
	}
	for path, methods := range d.Paths {
		for method := range methods {
			switch call := strings.ToUpper(method) + " " + path; call {
			case "GET /api/v1/events", "POST /api/v1/runs/{id}/hold": // they last: TestEvents, TestHold
			default:
				if !asked[call] {
					t.Errorf("%s was not asked", call)
				}
			}
		}
	}
}
