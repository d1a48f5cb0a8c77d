package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What a publisher says of all reports stands in the configuration, and of one on the command
// line, which goes before it; a device keeps the look that the configuration gives it.
func TestReportCarriesThePublishersWords(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	config := filepath.Join(t.TempDir(), "sweepd.yaml")
	text := "report:\n  title: The long bench\n  credit: Harbour Lab\n  conditions: room at 22 °C\n  styles: {unit-elm: 3}\n"
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "report")
	must(t, "report", "--config", config, "--out", out, "--credit", "Drawn by Ada")
	page := read(t, filepath.Join(out, "report.html"))
	if !strings.Contains(page, "<title>The long bench</title>") {
		t.Error("not the configuration's title")
	}
	charts, err := filepath.Glob(filepath.Join(out, "charts", "result-*-light.svg"))
	if err != nil || len(charts) == 0 {
		t.Fatalf("%q, %v", charts, err)
	}
	for _, path := range charts {
		svg := read(t, path)
		for _, want := range []string{">Drawn by Ada<", ">room at 22 °C<"} {
			if !strings.Contains(svg, want) {
				t.Errorf("%s: no %q", path, want)
			}
		}
		if strings.Contains(svg, "Harbour Lab") {
			t.Errorf("%s: the configuration's credit besides the one that was asked for", path)
		}
		if !strings.Contains(svg, "#389A95") { // the third colour
			t.Errorf("%s: unit-elm has not its style", path)
		}
	}
	for _, args := range [][]string{{"--credit", "  "}, {"--title", strings.Repeat("x", 300)}, {"--shape", "round"}, {"--conditions", "a\nb"}} {
		if got := sweepd(t, append([]string{"report", "--out", out}, args...)...); got.code != 2 || !strings.Contains(got.stderr, args[0][2:]) {
			t.Errorf("%q: exit %d, %q", args, got.code, got.stderr)
		}
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// A shape asks for pictures of that shape, and a former report's pictures go, whatever their
// shape.
func TestReportDrawsTheShapesAskedFor(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	out := filepath.Join(t.TempDir(), "report")
	endings := func() string {
		files, err := filepath.Glob(filepath.Join(out, "charts", "result-harbour-flight-mains-*.png"))
		if err != nil {
			t.Fatal(err)
		}
		var list []string
		for _, f := range files {
			if strings.Contains(f, "-light-") {
				list = append(list, f[strings.LastIndex(f, "-")+1:])
			}
		}
		return strings.Join(list, " ")
	}
	must(t, "report", "--out", out, "--workload", "harbour-flight", "--shape", "square,upright")
	if got := endings(); got != "1080x1080.png 1080x1920.png 2160x2160.png 2160x3840.png" {
		t.Errorf("pictures %q", got)
	}
	must(t, "report", "--out", out, "--workload", "harbour-flight")
	if got := endings(); got != "" {
		t.Errorf("pictures of a former report: %q", got)
	}
}
