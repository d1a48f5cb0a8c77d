package collectors

import "strings"

// distributionNames are the host names that the distribution gives by itself.
func (r Roots) distributionNames() (names []string) {
	if !r.etcReadable() {
		return nil
	}
	lines := staticLines(r.etc("os-release"))
	for _, line := range lines {
		switch key, value, _ := strings.Cut(line, "="); key {
		case "DEFAULT_HOSTNAME", "ID", "VARIANT_ID":
			names = append(names, strings.ToLower(strings.Trim(value, `"'`)))
		}
	}
	return names
}
