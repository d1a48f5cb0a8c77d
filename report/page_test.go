package report

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"sweepd/frames"
	"sweepd/run"
)

// checkPage writes a page and checks what every page owes.
func checkPage(t *testing.T, p *Page) string {
	t.Helper()
	var b bytes.Buffer
	if err := p.HTML(&b); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	root, err := html.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	ids := map[string]bool{}
	var refs []string
	walk(root, func(n *html.Node) {
		for _, a := range n.Attr {
			switch {
			case a.Key == "id":
				if ids[a.Val] {
					t.Errorf("the id %q twice", a.Val)
				}
				ids[a.Val] = true
			case a.Key == "aria-labelledby" || a.Key == "aria-describedby":
				refs = append(refs, strings.Fields(a.Val)...)
			case a.Key == "href" && strings.HasPrefix(a.Val, "#"):
				refs = append(refs, a.Val[1:])
			case a.Key == "src" || a.Key == "href" && !strings.HasPrefix(a.Val, "data:"):
				t.Errorf("<%s %s=%q>: the page needs something else", n.Data, a.Key, a.Val)
			case strings.HasPrefix(a.Key, "on"):
				t.Errorf("<%s %s=%q>", n.Data, a.Key, a.Val)
			}
		}
		if n.Type == html.ElementNode && n.Data == "th" && attribute(n, "scope") == "" {
			t.Error("a table head without scope")
		}
		if n.Type == html.ElementNode && n.Data == "svg" && (attribute(n, "role") != "img" || attribute(n, "aria-labelledby") == "" || attribute(n, "aria-describedby") == "") {
			t.Error("a picture without words")
		}
	})
	for _, r := range refs {
		if !ids[r] {
			t.Errorf("nothing has the id %q", r)
		}
	}
	if strings.Contains(text, "NaN") || strings.Contains(text, "+Inf") || strings.Contains(text, "TemplFailedSanitization") {
		t.Error("the page holds NaN, Inf or what the template refused")
	}
	for _, s := range said(p) {
		if strings.Contains(s, "  ") || strings.Contains(s, "..") || strings.Contains(s, "%!") {
			t.Errorf("sentence %q", s)
		}
	}
	return text
}

func walk(n *html.Node, f func(*html.Node)) {
	f(n)
	for c := range n.ChildNodes() {
		walk(c, f)
	}
}

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

// demoInput is a planted day with everything a report can hold.
func demoInput(t testing.TB) Input {
	t.Helper()
	runs := plant(1, oakAndElm()...)
	study, err := Ask(runs, Questions{})
	if err != nil {
		t.Fatal(err)
	}
	in := Input{Study: study, Runs: slices.Clone(runs), Made: time.Date(2026, 5, 5, 9, 0, 0, 0, time.UTC), Version: "1.2.3", Tidy: []byte("device,workload\nunit-oak,harbour-flight\n")}
	in.Devices = []Device{{"unit-oak", map[string][]string{"cpu_model": {"Example Processor 8"}}}}
	bad := &in.Runs[3]
	bad.State, bad.Why = "rejected", "the supply changed"
	bad.Findings = []run.Finding{{Code: run.SupplyChanged, Severity: run.SeverityReject, Text: "the supply changed", At: bad.StartedAt.Add(30 * time.Second)},
		{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "it began at 50 °C"}}
	line := Line{Name: "CPU"}
	for i := range 600 {
		line.Times, line.Values = append(line.Times, float64(i)/10), append(line.Values, 40+10*math.Sin(float64(i)/50))
	}
	in.Traces = []Trace{{Run: bad.ID, Temperature: []Line{line}, Power: []Line{line}, Clock: []Line{line}}}
	in.Frames = []Frames{{"unit-oak at 25 W", framesOf(2000)}, {"unit-elm at 25 W", framesOf(1500)}}
	return in
}

func framesOf(n int) *frames.Times {
	list := make([]float64, n)
	for i := range list {
		list[i] = 16 + math.Sin(float64(i)) + 30*math.Pow(float64(i%100)/100, 40)
	}
	return gathered(list...)
}

// gathered are frame times given in ms.
func gathered(milliseconds ...float64) *frames.Times {
	t := frames.NewTimes(1)
	for _, ms := range milliseconds {
		t.Add(ms / 1000)
	}
	return t
}

func TestPageHoldsEverything(t *testing.T) {
	p := Compose(demoInput(t))
	text := checkPage(t, p)
	for _, want := range []string{
		"Who is ahead", "What to set", "What changes on battery", "Power and runtime on battery", "The day in the order of time", "Single runs", "Frame times",
		"The page makes 6 comparisons; what the answers say of them holds for all of them together", "Methods", "Example Processor 8", "why: the supply changed", "doubt hot_start: it began at 50 °C", "sweepd 1.2.3 on 5 May 2026 09:00 UTC",
		base64.StdEncoding.EncodeToString([]byte("device,workload\nunit-oak,harbour-flight\n")), `download="runs.csv"`,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if again := checkPage(t, Compose(demoInput(t))); again != text {
		t.Error("the same input made another page")
	}
	if n := len(p.Charts()); n < 14 {
		t.Errorf("%d charts", n)
	}
}

// No name may become an element, an attribute or a script.
func TestHostileNamesOnThePage(t *testing.T) {
	const bad = `"><script>alert(1)</script><img src=x onerror=alert(2)>{{.}}'&\u0000`
	plots := oakAndElm()
	for i := range plots {
		plots[i].workload, plots[i].metric, plots[i].unit = "w"+bad, "m"+bad, "u"+bad
		plots[i].device += bad
		plots[i].variant = run.Variant("k" + strings.ReplaceAll(strings.ReplaceAll(bad, "=", ""), ",", "") + "=v")
	}
	runs := plant(1, plots...)
	study, err := Ask(runs, Questions{})
	if err != nil {
		t.Fatal(err)
	}
	in := Input{Study: study, Runs: slices.Clone(runs), Version: bad, Tidy: []byte(bad), Devices: []Device{{bad, map[string][]string{bad: {bad}}}}}
	in.Runs[0].Why, in.Runs[0].Note, in.Runs[0].State = bad, bad, "rejected"
	in.Runs[0].Findings = []run.Finding{{Code: run.Code(bad), Severity: run.SeverityDoubt, Text: bad}}
	in.Traces = []Trace{{Run: in.Runs[0].ID, Power: []Line{{Name: bad, Times: []float64{0, 1}, Values: []float64{1, 2}}}}}
	in.Frames = []Frames{{bad, framesOf(100)}}
	p := Compose(in)
	root, err := html.Parse(strings.NewReader(checkPage(t, p)))
	if err != nil {
		t.Fatal(err)
	}
	scripts := 0
	walk(root, func(n *html.Node) {
		if n.Type == html.ElementNode && n.Data == "script" {
			scripts++
			if n.FirstChild == nil || n.FirstChild.Data != pageJS {
				t.Error("another script")
			}
		}
		if n.Type == html.ElementNode && n.Data == "img" {
			t.Error("a name became an element")
		}
	})
	if scripts != 1 {
		t.Errorf("%d scripts", scripts)
	}
	for _, c := range p.Charts() {
		if !regexp.MustCompile(`^[a-z0-9-]+$`).MatchString(c.Name) {
			t.Errorf("file name %q", c.Name)
		}
	}
}

func TestWriteReplacesItsOwnAndNothingElse(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	p := Compose(demoInput(t))
	calls := 0
	w, err := Write(context.Background(), dir, p, Options{Progress: func(done, total int) { calls++ }})
	if err != nil {
		t.Fatal(err)
	}
	if want := 1 + 2*len(p.Charts()); w.Files != want || calls != want {
		t.Errorf("%d files, %d told, want %d", w.Files, calls, want)
	}
	kept := filepath.Join(dir, chartsDir, "mine.svg")
	if err := os.WriteFile(kept, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	// A smaller report takes the former one's charts away, not the user's file.
	small := Compose(Input{Study: demoInput(t).Study})
	if _, err := Write(context.Background(), dir, small, Options{}); err != nil {
		t.Fatal(err)
	}
	files, err := os.ReadDir(filepath.Join(dir, chartsDir))
	if err != nil {
		t.Fatal(err)
	}
	if want := 2*len(small.Charts()) + 1; len(files) != want || len(small.Charts()) >= len(p.Charts()) {
		t.Errorf("%d files, want %d", len(files), want)
	}
	if _, err := os.Stat(kept); err != nil {
		t.Error(err)
	}

	foreign := t.TempDir()
	if err := os.WriteFile(filepath.Join(foreign, pageName), []byte("<html>my page</html>"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Write(context.Background(), foreign, p, Options{}); !errors.Is(err, errForeign) {
		t.Errorf("a page of somebody else's: %v", err)
	}
	ended, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Write(ended, t.TempDir(), p, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// Thinning keeps the extremes and the ends of a line, its order and its gaps.
func TestThinKeepsWhatCanBeSeen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 3000).Draw(t, "n")
		seed := rapid.Uint64().Draw(t, "seed")
		times, values := make([]float64, n), make([]float64, n)
		low, high, missing := math.Inf(1), math.Inf(-1), false
		for i := range n {
			seed = seed*6364136223846793005 + 1442695040888963407
			times[i], values[i] = float64(i), float64(seed>>40)
			if seed>>60 == 0 && n > 100 {
				values[i], missing = math.NaN(), true
				continue
			}
			low, high = min(low, values[i]), max(high, values[i])
		}
		got := thin(times, values, 100)
		if len(got) > 320 {
			t.Fatalf("%d points left of %d", len(got), n)
		}
		l, h, gaps := math.Inf(1), math.Inf(-1), false
		for i, q := range got {
			if i > 0 && q[0] < got[i-1][0] {
				t.Fatal("order")
			}
			if math.IsNaN(q[1]) {
				gaps = true
				continue
			}
			l, h = min(l, q[1]), max(h, q[1])
		}
		if l != low || h != high || missing && !gaps {
			t.Fatalf("%v to %v, gaps %v; want %v to %v, %v", l, h, gaps, low, high, missing)
		}
	})
}

// The share of frames that took at least a time, by hand: of 1 to 10 ms all take 1,
// one in ten takes 10.
func TestExceedance(t *testing.T) {
	shares := exceedance(gathered(10, 9, 8, 7, 6, 5, 4, 3, 2, 1).Ranked())
	first, last := shares[0], shares[len(shares)-1]
	if first != [2]float64{1, 1} || last != [2]float64{10, 0.1} {
		t.Errorf("from %v to %v", first, last)
	}
}

// The percentiles of frame times on the page are those of type 7 of Hyndman & Fan
// (1996), Am. Stat. 50:361-365, on x = 15 20 35 40 50 as R's quantile(x, p, type = 7)
// gives them: the median is 35, and at 0.95, 0.99 and 0.999 by their formula, worked by
// hand, 40 + 10 × (4p - 3) = 48, 49.6 and 49.96. A frame of no time counts as one: with it
// before the others 0.5 is between 20 and 35, 27.5.
func TestPercentilesOfFrames(t *testing.T) {
	list := []Frames{{"five", gathered(15, 20, 35, 40, 50)}, {"and none", gathered(0, 15, 20, 35, 40, 50)}}
	table := framesTable(list)
	for i, want := range [][]float64{{5, 35, 48, 49.6, 49.96}, {6, 27.5, 47.5, 49.5, 49.95}} {
		for k, w := range want {
			if got, err := strconv.ParseFloat(table.Rows[i][k+1].Exact, 64); err != nil || math.Abs(got-w) > 1e-9 {
				t.Errorf("%s, %s: %v, want %v", list[i].Name, table.Columns[k+1].Head, table.Rows[i][k+1].Exact, w)
			}
		}
	}
	b := &builder{names: map[string]bool{}}
	if alt := b.framesCharts(list)[0].Alt; !strings.Contains(alt, "five, 5 frames: 50 % within 35.0 ms; 95 % within 48.0 ms; 99 % within 49.6 ms; 99.9 % within 50.0 ms;") {
		t.Errorf("the chart says %q", alt)
	}
}

// Numbers keep their units on their line, and a minus is one.
func TestTypeset(t *testing.T) {
	const nb = "\u00a0"
	for text, want := range map[string]string{
		"ahead by 9.3 % (6.0 to 12.7).":       "ahead by 9.3" + nb + "% (6.0 to 12.7).",
		"at 18 W: 17.84 s (17.64 to 18.04)":   "at 18" + nb + "W: 17.84" + nb + "s (17.64 to 18.04)",
		"-0.26 % (-0.71 to 0.19), from 5-6":   "−0.26" + nb + "% (−0.71 to 0.19), from 5-6",
		"4 h 17 min, 2 more runs, run 3 of 5": "4" + nb + "h" + nb + "17" + nb + "min, 2 more runs, run 3 of 5",
	} {
		if got := typeset(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
