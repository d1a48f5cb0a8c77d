package deploy

import (
	_ "embed"
	"regexp"
	"strings"
)

//go:embed sweepd.example.yaml
var example string

//go:embed prometheus/scrape.yaml
var scrape string

var value = regexp.MustCompile(`(?m)^( *[^# \n])`)

// Configuration is the file that an installation begins with: the example with every
// value commented out, so that it explains every option and the defaults hold.
func Configuration() string { return value.ReplaceAllString(example, "#$1") }

// ScrapeConfiguration is a prometheus.yml for the agent that answers at address.
func ScrapeConfiguration(address string) string {
	return "# For a Prometheus of its own: prometheus --config.file=THIS\n" + strings.Replace(scrape, "127.0.0.1:9745", address, 1)
}
