package report

import (
	"fmt"
	"regexp"
	"strings"
)

// unique makes a chart's name one of its kind.
func (b *builder) unique(name string) string {
	candidate := name
	for i := 2; b.names[candidate]; i++ {
		candidate = fmt.Sprintf("%s-%d", name, i)
	}
	b.names[candidate] = true
	return candidate
}

// notInNames is what names of files have a dash for.
var notInNames = regexp.MustCompile(`[^a-z0-9]+`)

// fileName makes a name of files out of words.
func fileName(parts ...string) string {
	const most = 80
	name := strings.Trim(notInNames.ReplaceAllString(strings.ToLower(strings.Join(parts, "-")), "-"), "-")
	return strings.Trim(name[:min(len(name), most)], "-")
}
