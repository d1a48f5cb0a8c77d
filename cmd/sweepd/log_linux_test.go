package main

import (
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The agent calls an error what its operator has to act on: not what a person types wrongly,
// nor results that no comparison can use.
func TestLevelsOfTheLog(t *testing.T) {
	data := alone(t)
	liveDevice(t)
	config := filepath.Join(data, "sweepd.yaml")
	if err := os.WriteFile(config, []byte("device: unit-oak\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	a := startAgent(t, "--config", config, "--data", data)
	t.Setenv("SWEEPD_DATA", "")
	dir := t.TempDir()
	at := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	const head = "device,workload,supply,setting_w,load\n"
	good := at("good.csv", head+"unit-oak,tile-sort,mains,15,0\nunit-oak,tile-sort,battery,15,0\nunit-oak,tile-sort,mains,15,-3\n")
	must(t, "import", good)
	must(t, "run", "start", "--workload", "tile-sort", "--setting", "15W", "--variant", "cores=2")
	must(t, "run", "stop", "--result", "pieces=4") // compared by supply at once: by a result that other cells lack
	notOurs := at("other.db", "SQLite format 3\x00"+strings.Repeat("x", 5000))
	for _, args := range []string{
		"import " + at("bad.csv", head+"unit-oak,tile-sort,mains,15,fast\n"), "import " + at("empty.csv", ""), "merge " + notOurs,
		"run trim last", "run trim last --undo", "run correct --undo", "run correct zzz --set-note x", "import --undo 7",
		"report --out " + filepath.Join(dir, "report") + " --since 2031-01-01", "device rename unit-ash unit-elm", "run keep last --why fine",
		"run show zzz", "plan next", "plan extend --repeats 2", "compare --by device --metric none", "curve --metric none",
		"run meter last " + good, "run result last load=x", "run start --workload", "run stop", "setting 3000W",
	} {
		if o := sweepd(t, strings.Fields(args)...); o.code == exitOK {
			t.Errorf("sweepd %s is no slip: %s", args, o.out)
		}
	}
	for name, c := range map[string]struct{ kind, says string }{
		"as curl -X POST sends it": {"", "the request is without a content type"},
		"as curl -d sends it":      {"application/x-www-form-urlencoded", "is of the type application/x-www-form-urlencoded"},
		"as a page elsewhere does": {"text/plain", "which pages of other sites can send too, so nothing was done"},
		"bytes":                    {"application/octet-stream", "no bytes are taken at /api/v1/runs/start: send JSON, with the content type application/json"},
	} {
		q, err := http.NewRequest("POST", a.url+"/api/v1/runs/start", strings.NewReader(`{"workload":"tile-sort"}`))
		if err != nil {
			t.Fatal(err)
		}
		if q.Header.Set("Content-Type", c.kind); c.kind == "" {
			q.Header.Del("Content-Type")
		}
		r, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r.Body)
		r.Body.Close()
		if err != nil || r.StatusCode != http.StatusUnsupportedMediaType || !strings.Contains(string(text), c.says) {
			t.Errorf("%s: %d %s (%v)", name, r.StatusCode, text, err)
		}
		if how := fmt.Sprintf("curl -H 'Content-Type: application/json' -d '{}' %s/api/v1/runs/start", a.url); c.kind != "application/octet-stream" && !strings.Contains(string(text), how) {
			t.Errorf("%s: how to do it is not said: %s", name, text)
		}
	}
	if log := a.log.String(); strings.Contains(log, `"level":"error"`) {
		t.Errorf("slips are errors of the agent:\n%s", log)
	}

	file := filepath.Join(data, "sweepd.db")
	if err := os.Rename(file, file+".away"); err != nil {
		t.Fatal(err)
	}
	if o := sweepd(t, "run", "list"); o.code == exitOK {
		t.Errorf("the data is away: %s", o.out)
	}
	if log := a.log.String(); !strings.Contains(log, `"level":"error"`) {
		t.Errorf("data that is away is no error:\n%s", log)
	}
	if err := os.Rename(file+".away", file); err != nil {
		t.Fatal(err)
	}
}
