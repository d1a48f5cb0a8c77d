package report

import (
	"fmt"
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

// fileName makes a name of files out of words.
func fileName(parts ...string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(strings.Join(parts, "-")) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	const most = 80
	name := b.String()
	return strings.Trim(name[:min(len(name), most)], "-")
}
