package schedule

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

func TestPlanComesBackFromItsTable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := Estimates{Batteries: map[string]Battery{"": {FullWh: 20}}}
		p := mustNew(t, anyRequest(t), e)
		var out bytes.Buffer
		if err := p.WriteCSV(&out); err != nil {
			t.Fatal(err)
		}
		again, err := ReadCSV(&out, "day.csv", e, morning)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(p, again, ignoreLearnt, cmpopts.EquateEmpty()); diff != "" {
			t.Fatal(diff)
		}
	})
}

// A plan that does not fit the disk is not called written.
func TestPlanThatCannotBeWritten(t *testing.T) {
	p := mustNew(t, Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Settings: []string{"8-28/4"}, Repeats: 50}, Estimates{})
	var whole bytes.Buffer
	if err := p.WriteCSV(&whole); err != nil {
		t.Fatal(err)
	}
	for room := 0; room < whole.Len(); room += 1000 {
		if err := p.WriteCSV(&disk{room: room}); !errors.Is(err, errFull) {
			t.Errorf("a disk with room for %d of %d bytes: error %v", room, whole.Len(), err)
		}
	}
}

// disk fails when it is full.
type disk struct{ room int }

var errFull = errors.New("no space left on device")

func (d *disk) Write(p []byte) (int, error) {
	n := min(len(p), d.room)
	d.room -= n
	if n < len(p) {
		return n, errFull
	}
	return n, nil
}

func TestPlanTableByHand(t *testing.T) {
	p, err := ReadCSV(strings.NewReader("\ufeffdevice,workload,setting_w,setting,supply\nunit-oak,tile-sort,8,,mains\nunit-oak,tile-sort,,quiet,mains\nunit-oak,tile-sort,8,,mains\n"), "day.csv", Estimates{}, morning)
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	for _, s := range p.Slots {
		got += s.String() + "; "
	}
	if got != "unit-oak, tile-sort, 8W, on mains; unit-oak, tile-sort, quiet, on mains; unit-oak, tile-sort, 8W, on mains; " || p.Slots[2].Pass != 2 || p.Slots[1].Pass != 1 {
		t.Errorf("%s %+v", got, p.Slots)
	}
}

func TestPlanTablesThatCannotBeRead(t *testing.T) {
	const head = "pass,device,workload,variant,supply,setting_w,setting\n"
	const whole = "device,workload,variant,supply,setting_w,hard,seed\n"
	for text, want := range map[string]string{
		"":                                                   "it is empty",
		"device,workload\n":                                  "column supply is missing",
		"device,device\n":                                    "line 1, column 2: device stands twice",
		"device,colour\n":                                    `line 1, column 2: unknown column "colour"`,
		head:                                                 "no row but the header",
		head + "1,a,b,,mains,8\n":                            "wrong number of fields",
		head + "1,a,b,,mains,eight,\n":                       `line 2: column setting_w: "eight": want watts`,
		head + "0,a,b,,mains,8,\n":                           `line 2: column pass: "0"`,
		head + "1,a,b,cores,mains,8,\n":                      `line 2: column variant: "cores"`,
		head + "1,a,b,,solar,8,\n":                           `line 2: supply "solar"`,
		head + "1,a,b,,mains,,\n":                            "line 2: the setting is empty",
		head + "1,a,b,,solar,,quiet\n":                       `line 2: supply "solar"`,
		head + "1,a,b,,mains,,\"a\nb\"\n":                    `setting "a\nb" holds control characters`,
		head + "2,a,b,,mains,8,\n1,a,b,,mains,9,\n":          "line 3: pass 1 comes after pass 2",
		head + "1,,b,,mains,8,\n":                            "line 2: device is empty",
		whole + "a,b,n=1,mains,8,n,-1\n":                     `line 2: column seed: "-1"`,
		whole + "a,b,n=1,mains,8,\"n,,m\",1\n":               `line 2: column hard: "n,,m"`,
		whole + "a,b,n=1,mains,8,cores,1\n":                  `column hard: "cores": no variant has it`,
		whole + "a,b,n=1,mains,8,n,1\na,b,n=1,mains,8,n,2\n": "line 3: columns hard and seed",
	} {
		_, err := ReadCSV(strings.NewReader(text), "day.csv", Estimates{}, morning)
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "day.csv") {
			t.Errorf("%q: got %v, want %q", text, err, want)
		}
	}
}

func TestReadRequest(t *testing.T) {
	const file = `
devices: unit-oak
workloads: [harbour-flight, tile-sort]
settings: [8-28/4, 35, quiet]
supplies: [mains, battery]
variants:
  - cores=6
  - cores=12
hard: [cores]
repeats: 2
seed: 42
run: 4m
battery: {full_wh: 48.6, reserve: 0.15}
`
	q, e, seeded, err := ReadRequest(strings.NewReader(file), "day.yaml")
	if err != nil || !seeded {
		t.Fatal(err, seeded)
	}
	want := Request{Devices: []string{"unit-oak"}, Workloads: []string{"harbour-flight", "tile-sort"}, Settings: []string{"8-28/4", "35", "quiet"},
		Supplies: []string{"mains", "battery"}, Variants: []string{"cores=6", "cores=12"}, Hard: []string{"cores"}, Repeats: 2, Seed: 42}
	if diff := cmp.Diff(want, q); diff != "" {
		t.Error(diff)
	}
	if e.RunDuration[""] != 4*time.Minute || e.Batteries[""] != (Battery{FullWh: 48.6, Reserve: 0.15}) {
		t.Errorf("%+v", e)
	}
	if p := mustNew(t, q, e); len(p.Slots) != 2*8*2*2*2 {
		t.Errorf("%d slots", len(p.Slots))
	}
	for text, want := range map[string]string{
		"colour: red":             `line 1, column 1: unknown key "colour"`,
		"devices: [a]\nrun: long": `line 2, column 6: "long": "long" is no time`,
		"devices: {a: b}":         "want a text or a list",
		"devices: [a":             "line 1",
		"repeats: many":           "line 1, column 10",
		"battery: {reserve: 2}":   "reserve is 2",
		"battery: {full_wh: -1}":  "full_wh is -1",
	} {
		if _, _, _, err := ReadRequest(strings.NewReader(text), "day.yaml"); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "day.yaml") {
			t.Errorf("%q: got %v, want %q", text, err, want)
		}
	}
}

// A run or a pause takes a second to a day.
func TestParseDuration(t *testing.T) {
	for text, want := range map[string]time.Duration{"1s": time.Second, "90s": 90 * time.Second, "2h30m": 150 * time.Minute, "24h": 24 * time.Hour} {
		if got, err := ParseDuration(text); err != nil || got != want {
			t.Errorf("%s: %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "0s", "999ms", "-5m", "24h1s", "90", "soon"} {
		if got, err := ParseDuration(text); err == nil || got != 0 {
			t.Errorf("%q is taken for %v", text, got)
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add("pass,device,workload,variant,supply,setting_w,setting\n1,a,b,cores=6,mains,8,\n")
	f.Add("device,workload,supply,setting\na,b,battery,quiet\n")
	f.Add("device,workload,variant,supply,setting_w,hard,seed\na,b,\"n=1,m=2\",battery,8,\"n,m\",7\n")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := ReadCSV(strings.NewReader(text), "f", Estimates{}, morning)
		if err != nil {
			return
		}
		var out bytes.Buffer
		if err := p.WriteCSV(&out); err != nil {
			t.Fatal(err)
		}
		again, err := ReadCSV(&out, "f", Estimates{}, morning)
		if err != nil {
			t.Fatalf("%q is not read back: %v", out.String(), err)
		}
		if diff := cmp.Diff(p, again, ignoreLearnt); diff != "" {
			t.Fatal(diff)
		}
	})
}
