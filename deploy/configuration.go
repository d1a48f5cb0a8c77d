package deploy

import (
	_ "embed"
	"regexp"
)

//go:embed sweepd.example.yaml
var example string

var value = regexp.MustCompile(`(?m)^( *[^# \n])`)

// Configuration is the file that an installation begins with: the example with every
// value commented out, so that it explains every option and the defaults hold.
func Configuration() string { return value.ReplaceAllString(example, "#$1") }
