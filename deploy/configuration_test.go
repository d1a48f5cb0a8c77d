package deploy

import (
	"strings"
	"testing"
)

func TestConfigurationOfAnInstallationSaysNothing(t *testing.T) {
	text := Configuration()
	for line := range strings.Lines(text) {
		if line != "\n" && !strings.HasPrefix(strings.TrimLeft(line, " "), "#") {
			t.Errorf("%q is in force", line)
		}
	}
	if !strings.Contains(text, "\n#interval: 250ms\n") || !strings.Contains(text, "\n#  too_short: 5s\n") {
		t.Errorf("values are not kept as comments:\n%s", text)
	}
}
