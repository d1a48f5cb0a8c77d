package report

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// chromium runs Chromium without a network and returns its standard output. Any
// message on the console (an error of the script, something the page tried to
// load) fails the test.
func chromium(t *testing.T, args ...string) string {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("chromium is missing")
		}
		t.Skip("chromium is missing")
	}
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Minute)
	defer stop()
	profile := t.TempDir()
	base := []string{"--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run", "--disable-extensions", "--disable-background-networking",
		"--user-data-dir=" + profile, "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1", "--enable-logging=stderr", "--v=0"}
	cmd := exec.CommandContext(ctx, path, append(base, args...)...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("chromium %s: %v\n%s", strings.Join(args, " "), err, errs.String())
	}
	for line := range strings.Lines(errs.String()) {
		if strings.Contains(line, "CONSOLE") {
			t.Errorf("the page complains: %s", line)
		}
	}
	return out.String()
}

// writtenPage writes the planted day as a file.
func writtenPage(t *testing.T) string {
	t.Helper()
	w, err := Write(context.Background(), t.TempDir(), Compose(demoInput(t)), Options{})
	if err != nil {
		t.Fatal(err)
	}
	return w.Page
}

// TestPageOpensInABrowser opens the page from its file, without a network, looks
// at the picture and prints it.
func TestPageOpensInABrowser(t *testing.T) {
	page := writtenPage(t)
	picture := filepath.Join(t.TempDir(), "page.png")
	chromium(t, "--screenshot="+picture, "--window-size=1280,1600", "file://"+page)
	light := colours(t, picture)
	if light[paper(0xfb, 0xfa, 0xf6)] < 0.3 {
		t.Error("little of the picture is paper")
	}
	chromium(t, "--screenshot="+picture, "--window-size=1280,1600", "--blink-settings=preferredColorScheme=0", "file://"+page)
	if dark := colours(t, picture); dark[paper(0x13, 0x17, 0x1d)] < 0.3 {
		t.Error("little of the picture is the dark paper, for a reader who prefers it")
	}

	pdf := filepath.Join(t.TempDir(), "page.pdf")
	chromium(t, "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+page)
	text, err := os.ReadFile(pdf)
	if err != nil {
		t.Fatal(err)
	}
	boxes := regexp.MustCompile(`/MediaBox ?\[0 0 ([0-9.]+) ([0-9.]+)\]`).FindAllSubmatch(text, -1)
	if len(boxes) < 5 {
		t.Errorf("%d pages printed", len(boxes))
	}
	for _, b := range boxes {
		width, _ := strconv.ParseFloat(string(b[1]), 64)
		height, _ := strconv.ParseFloat(string(b[2]), 64)
		if width < 594 || width > 596 || height < 841 || height > 843 { // A4, ISO 216, in points
			t.Errorf("a page of %v x %v", width, height)
			break
		}
	}
}

type pixel [3]uint8

func paper(r, g, b uint8) pixel { return pixel{r, g, b} }

// colours gives the share of each colour of a picture.
func colours(t *testing.T, path string) map[pixel]float64 {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var p image.Image
	if p, err = png.Decode(f); err != nil {
		t.Fatal(err)
	}
	size := p.Bounds().Size()
	shares := map[pixel]float64{}
	for y := 0; y < size.Y; y += 3 {
		for x := 0; x < size.X; x += 3 {
			r, g, b, _ := p.At(x, y).RGBA()
			shares[pixel{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8)}] += 9 / float64(size.X*size.Y)
		}
	}
	return shares
}

// measure is a page that holds the report at a width and says what it measured:
// whether it is wider than its window, which of the two forms of charts is shown,
// whether a text of a picture leaves it, and how many tables can be copied.
const measure = `<!doctype html><title>measure</title><body>
<iframe id="f" src="/report.html" style="width:%[1]dpx;height:4000px;border:0"></iframe>
<script>
f.onload = () => {
	const d = f.contentDocument, w = f.contentWindow;
	const height = d.documentElement.scrollHeight, scroll = d.documentElement.scrollWidth;
	for (const x of d.querySelectorAll("details")) x.open = true;
	let outside = 0, texts = 0;
	for (const s of d.querySelectorAll("figure svg")) {
		const b = s.getBoundingClientRect();
		if (!b.width) continue;
		for (const t of s.querySelectorAll("text")) {
			const r = t.getBoundingClientRect();
			texts++;
			if (r.left < b.left - 1 || r.right > b.right + 1 || r.top < b.top - 1 || r.bottom > b.bottom + 1) outside++;
		}
	}
	const small = [...d.querySelectorAll("figure svg text")].filter(t => t.getBoundingClientRect().height > 0).map(t => t.getBoundingClientRect().height);
	const shown = c => d.querySelector("." + c) && w.getComputedStyle(d.querySelector("." + c)).display !== "none";
	document.body.innerHTML = "<p id=r>scroll=" + Math.max(scroll, d.documentElement.scrollWidth) + " height=" + height + " wide=" + shown("wide") + " narrow=" + shown("narrow") +
		" outside=" + outside + " texts=" + texts + " least=" + Math.min(...small).toFixed(1) + " buttons=" + d.querySelectorAll("button + .scroll").length + " tables=" + d.querySelectorAll("table").length + "</p>";
};
</script>`

// TestPageFitsItsReader measures the page at the width of a desk and of phones.
func TestPageFitsItsReader(t *testing.T) {
	page := writtenPage(t)
	for _, c := range []struct {
		width        int
		wide, narrow string
	}{{1280, "true", "false"}, {390, "false", "true"}, {360, "false", "true"}} {
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path == "/report.html" {
				http.ServeFile(w, r, page)
				return
			}
			fmt.Fprintf(w, measure, c.width)
		}))
		dom := chromium(t, "--window-size=1300,900", "--virtual-time-budget=20000", "--dump-dom", server.URL+"/")
		server.Close()
		got := map[string]string{}
		for _, m := range regexp.MustCompile(`(\w+)=([\w.]+)`).FindAllStringSubmatch(regexp.MustCompile(`(?s)<p id="r">.*?</p>`).FindString(dom), -1) {
			got[m[1]] = m[2]
		}
		if width, err := strconv.Atoi(got["scroll"]); err != nil || width > c.width {
			t.Errorf("at %d px the page is %s px wide", c.width, got["scroll"])
		}
		if height, err := strconv.Atoi(got["height"]); err != nil || c.width == 1280 && height > 15000 {
			t.Errorf("at %d px the page is %s px high with what is folded folded", c.width, got["height"])
		}
		if got["wide"] != c.wide || got["narrow"] != c.narrow {
			t.Errorf("at %d px: wide charts %s, narrow charts %s", c.width, got["wide"], got["narrow"])
		}
		if got["outside"] != "0" || got["texts"] == "0" {
			t.Errorf("at %d px %s of %s texts leave their picture", c.width, got["outside"], got["texts"])
		}
		if least, err := strconv.ParseFloat(got["least"], 64); err != nil || least < 11 {
			t.Errorf("at %d px the smallest text of a picture is %s px high", c.width, got["least"])
		}
		if got["buttons"] != got["tables"] || got["tables"] == "0" {
			t.Errorf("at %d px %s of %s tables can be copied", c.width, got["buttons"], got["tables"])
		}
	}
}

// TestCopiedCellsAreNoFormulas: what the button copies for a spreadsheet is as in the
// tables that are written (run.CSVText), but for numbers, which are shown as texts here.
func TestCopiedCellsAreNoFormulas(t *testing.T) {
	cells := map[string]string{
		"=cmd|' /C calc'!A0": "'=cmd|' /C calc'!A0", "@quiet": "'@quiet", "+pack=1": "'+pack=1", "-1+1|x": "'-1+1|x", "-x": "'-x", "'=1": "''=1",
		"-5": "-5", "+3.1 %": "+3.1 %", "-0.25 W": "-0.25 W", "−4 °C": "−4 °C", "tile-sort": "tile-sort", "": "",
	}
	list, err := json.Marshal(slices.Sorted(maps.Keys(cells)))
	if err != nil {
		t.Fatal(err)
	}
	page := filepath.Join(t.TempDir(), "copy.html")
	text := "<!doctype html><meta charset=utf-8><title>copy</title><body><script>" + pageJS + "</script><script>document.body.textContent = 'got ' + btoa(encodeURIComponent(JSON.stringify(" + string(list) + ".map(unlikeFormula)))) + ' end'</script>"
	if err := os.WriteFile(page, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	found := regexp.MustCompile(`got (\S+) end`).FindStringSubmatch(chromium(t, "--dump-dom", "file://"+page))
	if found == nil {
		t.Fatal("the script did not run")
	}
	encoded, err := base64.StdEncoding.DecodeString(found[1])
	if err != nil {
		t.Fatal(err)
	}
	plain, err := url.PathUnescape(string(encoded))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	if err := json.Unmarshal([]byte(plain), &got); err != nil {
		t.Fatal(err)
	}
	for i, cell := range slices.Sorted(maps.Keys(cells)) {
		if got[i] != cells[cell] {
			t.Errorf("%q is copied as %q, want %q", cell, got[i], cells[cell])
		}
	}
}
