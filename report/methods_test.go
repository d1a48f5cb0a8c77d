package report

import (
	"regexp"
	"strings"
	"testing"
)

// A source has its year and its title behind it. The last part says what its mark
// means.
func TestMethodsNameTheirSources(t *testing.T) {
	titled := regexp.MustCompile(`(19|20)\d\d, \w|:\d{4}, \w`)
	all := methods()
	last := len(all) - 1
	if !strings.Contains(all[last].Text, "†") {
		t.Errorf("the last part does not say what † means: %s", all[last].Text)
	}
	for _, m := range all[:last] {
		if m.Title == "" || m.Text == "" || !titled.MatchString(m.Source) {
			t.Errorf("%s: source %q, want author, year and title", m.Title, m.Source)
		}
	}
}
