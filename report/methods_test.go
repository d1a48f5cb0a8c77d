package report

import (
	"regexp"
	"testing"
)

// A source has its year and its title behind it.
func TestMethodsNameTheirSources(t *testing.T) {
	titled := regexp.MustCompile(`(19|20)\d\d, \w|:\d{4}, \w`)
	for _, m := range methods() {
		if m.Title == "" || m.Text == "" || !titled.MatchString(m.Source) {
			t.Errorf("%s: source %q, want author, year and title", m.Title, m.Source)
		}
	}
}
