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

// The report names what the devices told of their conditions, and leaves out what is none.
func TestMethodsNameConditions(t *testing.T) {
	list := withConditions(methods(), []Device{
		{Name: "unit-oak", Facts: map[string][]string{"display_brightness_ratio": {"1", "0.6"}, "room_celsius": {"22.5"}, "battery_cycles": {"12"}, "radio_wlan": {"on"}}},
		{Name: "unit-elm", Facts: map[string][]string{"memory_total_bytes": {"1"}}},
	})
	if len(list) != len(methods())+1 || list[1].Title != "Conditions" {
		t.Fatalf("%d parts, the second is %q", len(list), list[1].Title)
	}
	if want := "unit-oak: display brightness 60 % and 100 %, wireless network on, room temperature 22.5 °C."; !strings.HasSuffix(list[1].Text, want) {
		t.Errorf("%q, want at its end %q", list[1].Text, want)
	}
	if got := withConditions(methods(), []Device{{Name: "unit-oak"}}); len(got) != len(methods()) {
		t.Errorf("nothing told, and yet: %+v", got[1])
	}
}
