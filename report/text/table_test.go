package text

import (
	"strings"
	"testing"

	"github.com/rivo/uniseg"

	"sweepd/report/table"
)

func TestTableFits(t *testing.T) {
	shown := table.Table{Columns: []table.Column{{Head: "run"}, {Head: "workload", Least: 8}, {Head: "W", Right: true}, {Head: "why", Optional: table.Terminal}}}
	shown.Row(table.Text("0a1b2c3d"), table.Text("harbour-flight"), table.Text("25"))
	shown.Row(table.Text("ffffffff"), table.Text("ti\x1b[31mle"), table.Text("5.5"))
	var b strings.Builder
	if err := Write(&b, &shown, Options{}); err != nil {
		t.Fatal(err)
	}
	want := "" +
		"run       workload          W\n" +
		"0a1b2c3d  harbour-flight   25\n" +
		"ffffffff  ti\\u001b[31mle  5.5\n"
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
	b.Reset()
	if err := Write(&b, &shown, Options{Width: 24, Colour: true}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "0a1b2c3d harbour-     25\n         flight\n") {
		t.Errorf("broken: %q", b.String())
	}
}

func TestTableLosesNothing(t *testing.T) {
	const path = "/sys/class/power_supply/BAT0/energy_now"
	shown := table.Table{Columns: []table.Column{{Head: "sensor", Least: 12}, {Head: "value", Right: true}, {Head: "source", Below: true}}}
	shown.Row(table.Text("battery_energy_design_joules"), table.Text("185 kJ"), table.Text(path))
	for width, want := range map[int]string{
		90: "sensor                         value  source\nbattery_energy_design_joules  185 kJ  " + path + "\n",
		40: "sensor                         value\nbattery_energy_design_joules  185 kJ\n    " + path + "\n",
		25: "sensor              value\nbattery_energy_    185 kJ\ndesign_joules\n    " + path + "\n",
	} {
		var b strings.Builder
		if err := Write(&b, &shown, Options{Width: width}); err != nil {
			t.Fatal(err)
		}
		if b.String() != want {
			t.Errorf("%d columns: got\n%s\nwant\n%s", width, b.String(), want)
		}
	}
	var b strings.Builder
	if err := Write(&b, &shown, Options{Width: 10, Unlimited: true}); err != nil {
		t.Fatal(err)
	}
	if got := strings.Count(b.String(), "\n"); got != 2 || !strings.Contains(b.String(), "battery_energy_design_joules  185 kJ  "+path) {
		t.Errorf("unlimited: %q", b.String())
	}
}

func TestClip(t *testing.T) {
	for _, c := range []struct {
		text  string
		width int
		want  string
	}{{"short", 5, "short"}, {"longer", 5, "long…"}, {"長い名前", 5, "長い…"}, {"長い", 2, "…"}} {
		if got := Clip(c.text, c.width); got != c.want {
			t.Errorf("Clip(%q, %d) = %q, want %q", c.text, c.width, got, c.want)
		}
	}
}

func TestTableKeepsToItsWidth(t *testing.T) {
	shown := table.Table{Columns: []table.Column{{Head: "name", Least: 4}, {Head: "other", Least: 5}, {Head: "n", Right: true}}}
	shown.Row(table.Text(strings.Repeat("長い名前", 20)), table.Text(strings.Repeat("é", 100)), table.Text("12345"))
	var b strings.Builder
	if err := Write(&b, &shown, Options{}); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(b.String()) {
		if w := uniseg.StringWidth(strings.TrimSuffix(line, "\n")); w > 80 {
			t.Errorf("%d columns: %q", w, line)
		}
	}
}

func TestPointsStandBelowEachOther(t *testing.T) {
	shown := table.Table{Columns: []table.Column{{Head: "n"}, {Head: "watts", Point: true}}}
	for _, text := range []string{"12.0", "4.99", "313", ""} {
		shown.Row(table.Text("x"), table.Text(text))
	}
	var b strings.Builder
	if err := Write(&b, &shown, Options{}); err != nil {
		t.Fatal(err)
	}
	if want := "n   watts\nx   12.0\nx    4.99\nx  313\nx\n"; b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}
