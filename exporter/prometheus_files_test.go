package exporter

import (
	"bytes"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const queriesFile, metricsPage = "../deploy/prometheus/queries.md", "../docs/metrics.md"

var promqlBlock = regexp.MustCompile("(?ms)^```promql\n(.*?)^```$")

// shownQuery is a query that a document shows, with the heading that it is under.
type shownQuery struct{ heading, text string }

func shownQueries(t *testing.T, file string) []shownQuery {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	heading := regexp.MustCompile(`(?m)^#+ (.+)$`)
	var queries []shownQuery
	for _, at := range promqlBlock.FindAllSubmatchIndex(text, -1) {
		before := heading.FindAllSubmatch(text[:at[0]], -1)
		queries = append(queries, shownQuery{string(before[len(before)-1][1]), string(text[at[2]:at[3]])})
	}
	return queries
}

// The page shows at least three of the queries, and none that is not tested.
func TestPageShowsTheTestedQueries(t *testing.T) {
	tested, shown := shownQueries(t, queriesFile), shownQueries(t, metricsPage)
	if len(shown) < 3 {
		t.Errorf("docs/metrics.md shows %d queries, want at least 3", len(shown))
	}
	for _, q := range shown {
		if !slices.ContainsFunc(tested, func(o shownQuery) bool { return o.text == q.text }) {
			t.Errorf("docs/metrics.md shows a query that queries.md does not have:\n%s", q.text)
		}
	}
}

// What deploy/prometheus holds for Prometheus is good for it, by its own tool.
func TestPrometheusFiles(t *testing.T) {
	promtool := program(t, "promtool")
	for _, args := range [][]string{
		{"check", "config", "scrape.yaml"},
		{"check", "rules", "rules.yaml"},
		{"test", "rules", "rules_test.yaml"},
	} {
		cmd := exec.Command(promtool, args...)
		cmd.Dir = "../deploy/prometheus"
		var out bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &out
		if err := cmd.Run(); err != nil {
			t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, &out)
		}
	}
}

// exposedNames are the names of all metrics, with the suffixes of their samples.
func exposedNames(t *testing.T) map[string]bool {
	t.Helper()
	names := map[string]bool{}
	sample := regexp.MustCompile(`(?m)^(sweepd_\w+)`)
	for _, file := range []string{"testdata/recording.prom", "testdata/ended.prom"} {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range sample.FindAllSubmatch(text, -1) {
			names[string(m[1])] = true
		}
	}
	return names
}

// Nothing that is written about the metrics speaks of one that does not exist,
// and the page of metrics speaks of every one.
func TestMetricsAreWrittenAsExposed(t *testing.T) {
	exposed := exposedNames(t)
	named := func(file string) map[string]bool {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		names := map[string]bool{}
		for _, name := range regexp.MustCompile(`\bsweepd_[a-z_]+[a-z]\b`).FindAllString(string(text), -1) {
			names[name] = true
		}
		return names
	}
	for _, file := range []string{queriesFile, "../deploy/prometheus/rules.yaml", "../deploy/prometheus/rules_test.yaml"} {
		for name := range named(file) {
			if base, isRecorded := strings.CutSuffix(name, "_joules"); !exposed[name] && !(isRecorded && exposed[base+"_joules_total"]) {
				t.Errorf("%s speaks of %s, which is not exposed", file, name)
			}
		}
	}
	explained := named(metricsPage)
	for name := range exposed {
		base := strings.TrimSuffix(strings.TrimSuffix(name, "_sum"), "_count")
		if !explained[name] && !explained[base] {
			t.Errorf("docs/metrics.md does not explain %s", name)
		}
	}
}
