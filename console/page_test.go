package console

import (
	"crypto/sha256"
	"fmt"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"
)

// The page is 60 kB at most, is asked for once, and asks for nothing from elsewhere.
func TestPageFiles(t *testing.T) {
	h := newFakeSubject(t)
	total := 0
	for _, path := range []string{"/", "/page.css", "/page.js"} {
		w := ask(h, "GET", path, "", nil)
		text := w.Body.String()
		total += len(text)
		if w.Code != 200 || w.Header().Get("Cache-Control") != "no-cache" || w.Header().Get("ETag") == "" {
			t.Errorf("%s: %d %v", path, w.Code, w.Header())
		}
		for _, elsewhere := range []string{"http://", "https://", "@import", "//cdn", "<script>", "style=\""} {
			// The names of XML spaces are no addresses.
			if strings.Contains(strings.ReplaceAll(strings.ReplaceAll(text, "http://www.w3.org/2000/svg", ""), ` style="[^"]*"`, ""), elsewhere) {
				t.Errorf("%s has %q", path, elsewhere)
			}
		}
		again := ask(h, "GET", path, "", func(r *http.Request) { r.Header.Set("If-None-Match", w.Header().Get("ETag")) })
		if again.Code != http.StatusNotModified || again.Body.Len() > 0 {
			t.Errorf("%s again: %d, %d bytes", path, again.Code, again.Body.Len())
		}
		packed := ask(h, "GET", path, "", func(r *http.Request) { r.Header.Set("Accept-Encoding", "gzip, br") })
		if packed.Header().Get("Content-Encoding") != "gzip" || packed.Body.Len() >= len(text) {
			t.Errorf("%s compressed: %d of %d bytes", path, packed.Body.Len(), len(text))
		}
	}
	if testing.Verbose() {
		t.Logf("the page has %d bytes", total)
	}
	if total > 60_000 {
		t.Errorf("the page has %d bytes", total)
	}
}

// What travels was made of the page as it is now, and says all that it says: each text of
// several words, and each pattern within a call. That it is what the tool writes is held by deploy.
func TestPageIsLean(t *testing.T) {
	read := func(name string) string {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	sums := ""
	for _, name := range []string{"page.css", "page.js"} {
		sums += fmt.Sprintf("%x  %s\n", sha256.Sum256([]byte(read(name))), name)
	}
	if read("lean/SHA256SUMS") != sums {
		t.Fatal("the page was changed: run go generate ./console")
	}
	lean, found := read("lean/page.js"), 0
	for _, text := range regexp.MustCompile("\"[A-Z][\\w ,;:.’“”…]* [\\w ,;:.’“”…]*\"|\\(/(?:[^\\n/\\\\]|\\\\.)+/[a-z]*[,)]").FindAllString(read("page.js"), -1) {
		if found++; !strings.Contains(lean, text) {
			t.Errorf("%s is not in what travels", text)
		}
	}
	if found < 60 {
		t.Errorf("only %d texts were found", found)
	}
}

// Who is second to stop a run ends none, and is told.
func TestStopIfRecording(t *testing.T) { onEach(t, stopIfRecording) }

func stopIfRecording(t *testing.T, h subject) {
	var ids []string
	for range 2 {
		if w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"tile-sort"}`, nil); w.Code != 200 {
			t.Fatalf("%d %s", w.Code, w.Body)
		}
		ids = append(ids, h.live().Recording.ID)
		if len(ids) == 1 {
			ask(h, "POST", "/api/v1/runs/stop", `{"run":"`+ids[0]+`","if_recording":true}`, nil)
		}
	}
	w := ask(h, "POST", "/api/v1/runs/stop", `{"run":"`+ids[0]+`","if_recording":true}`, nil)
	if w.Code != 409 || !strings.Contains(w.Body.String(), `"kind":"already_ended"`) || !strings.Contains(w.Body.String(), `"ended":{"id":"`+ids[0]) || h.live().Recording == nil {
		t.Errorf("%d %s, recording %v", w.Code, w.Body, h.live().Recording)
	}
	if w := ask(h, "POST", "/api/v1/runs/stop", `{"run":"`+ids[1]+`","if_recording":true}`, nil); w.Code != 200 || h.live().Recording != nil {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}
