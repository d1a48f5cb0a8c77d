package report

import (
	"context"
	"testing"
	"time"

	"sweepd/internal/browser"
)

// fiveDevices is a day of five devices on both supplies.
func fiveDevices(t *testing.T) Input {
	t.Helper()
	var plots []plot
	for i, device := range []string{"unit-oak", "unit-elm", "unit-ash", "unit-birch", "unit-a-name-that-is-as-long-as-names-may-get"} {
		p := oakAndElm()[0]
		p.device, p.curve, p.floor, p.n = device, saturating(90+7*float64(i)), 0, 2
		plots = append(plots, p)
		p.supply, p.curve = "battery", saturating(88+6*float64(i))
		plots = append(plots, p)
	}
	runs := plant(2, plots...)
	study, err := Ask(runs, Questions{})
	if err != nil {
		t.Fatal(err)
	}
	return Input{Study: study, Runs: runs, Made: time.Date(2026, 5, 5, 9, 0, 0, 0, time.UTC), Version: "1.2.3"}
}

// TestPageServesEverybody opens pages on a desk and on a phone, folded and unfolded, in
// both themes, and holds them against the rules of access; and prints them.
func TestPageServesEverybody(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes half a minute")
	}
	b := browser.Start(t)
	for name, input := range map[string]Input{"two devices": demoInput(t), "five devices": fiveDevices(t)} {
		w, err := Write(context.Background(), t.TempDir(), Compose(input), Options{})
		if err != nil {
			t.Fatal(err)
		}
		p := b.NewPage()
		p.Size(1280, 1000, false)
		p.Open("file://" + w.Page)
		p.Await("document.readyState === 'complete' && document.querySelector('figure svg')")
		for _, fault := range p.PrintFaults() {
			t.Errorf("%s, printed: %s", name, fault)
		}
		for _, look := range []struct{ unfolded, phone bool }{{false, name == "two devices"}, {true, name != "two devices"}} {
			if look.unfolded {
				if err := p.Eval("document.querySelectorAll('details').forEach((d) => { d.open = true; })", nil); err != nil {
					t.Fatal(err)
				}
			}
			p.Size(map[bool]int{false: 1280, true: 390}[look.phone], 1000, look.phone)
			p.Dark(look.phone)
			time.Sleep(200 * time.Millisecond)
			for _, fault := range p.Barriers(look.phone) {
				t.Errorf("%s, %+v: %s", name, look, fault)
			}
		}
		if list := p.Complaints(); len(list) > 0 {
			t.Errorf("%s: the page complains: %v", name, list)
		}
	}
}
