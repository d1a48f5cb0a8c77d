package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sweepd/run"
)

// importedRuns are the runs that a table makes in an empty folder.
func importedRuns(t *testing.T, table string, flags ...string) []run.Run {
	t.Helper()
	data := t.TempDir()
	must(t, append([]string{"import", writeFile(t, "day.csv", table), "--data", data}, flags...)...)
	return listedRuns(t, data)
}

func listedRuns(t *testing.T, data string) (list []run.Run) {
	t.Helper()
	if err := json.Unmarshal([]byte(must(t, "run", "list", "--json", "--data", data)), &list); err != nil {
		t.Fatal(err)
	}
	return list
}

// One run in ten ways of writing it: what is clear is taken for what it is.
func TestImportForgivesWhatIsClear(t *testing.T) {
	alone(t)
	const head, row = "device,workload,supply,setting_w,duration_s,package_w,fps_mean\n", "unit-oak,harbour-flight,battery,15,90,14.9,68.4\n"
	want := importedRuns(t, head+row)[0]
	for name, table := range map[string]string{
		"semicolons and decimal commas": "device;workload;supply;setting_w;duration_s;package_w;fps_mean\nunit-oak;harbour-flight;battery;15;90;14,9;68,4\n",
		"tabs and decimal commas":       "device\tworkload\tsupply\tsetting_w\tduration_s\tpackage_w\tfps_mean\nunit-oak\tharbour-flight\tbattery\t15\t90\t14,9\t68,4\n",
		"decimal commas in quotes":      head + "unit-oak,harbour-flight,battery,15,90,\"14,9\",\"68,4\"\n",
		"units in cells":                head + "unit-oak,harbour-flight,battery,15W,90 s,14.9 W,68.4fps\n",
		"other units in cells":          head + "unit-oak,harbour-flight,battery,15000 mW,1.5min,14900mW,68.4\n",
		"units in headings":             "device,workload,supply,setting (W),duration (min),package_w (W),fps_mean (fps)\nunit-oak,harbour-flight,battery,15,1.5,14.9,68.4\n",
		"units in square brackets":      "device;workload;supply;setting_w [W];duration_s [s];package [mW];fps_mean [fps]\nunit-oak;harbour-flight;battery;15;90;14900;68,4\n",
		"headings spelled otherwise":    "Device,Workload,Supply,Setting W,Duration-S,PACKAGE_W,fps_mean\nunit-oak,harbour-flight,Battery,15.0,90.00,14.90,68.40\n",
		"rows that spreadsheets leave":  head + row + ",,,,,,\n,,,,,,\n",
		"other order":                   "fps_mean,workload,device,package_w,duration_s,setting_w,supply\n68.4,harbour-flight,unit-oak,14.9,90,15,battery\n",
		"setting by its other column":   "device,workload,supply,setting,duration_s,package_w,fps_mean\nunit-oak,harbour-flight,battery,15W,90,14.9,68.4\n",
	} {
		list := importedRuns(t, table)
		if len(list) != 1 {
			t.Errorf("%s: %d runs", name, len(list))
			continue
		}
		got := list[0]
		if got.Cell() != want.Cell() || *got.DurationS != 90 || *got.PackageW != 14.9 || got.Results["fps_mean"].Value != 68.4 || len(got.Results) != 1 {
			t.Errorf("%s: %+v", name, got)
		}
		if got.ID != want.ID {
			t.Errorf("%s: its id is not that of the same run written otherwise", name)
		}
		if unit := got.Results["fps_mean"].Unit; strings.Contains(table, "fps)") && unit != "fps" || strings.Contains(table, "4fps") && unit != "fps" {
			t.Errorf("%s: unit %q", name, unit)
		}
	}
}

// What could be meant in two ways is refused, by line, column and text, and what was
// probably meant is named.
func TestImportNeverGuesses(t *testing.T) {
	data := alone(t)
	const head = "device;workload;setting_w;fps_mean\n"
	for table, says := range map[string]string{
		head + "unit-oak;tile-sort;15;1,234\n":                                 `day.csv: line 2, column fps_mean: "1,234": is it 1.234 or 1234?`,
		head + "unit-oak;tile-sort;15;61.3\nunit-oak;tile-sort;15;1,234\n":     `line 3, column fps_mean: "1,234": is it 1.234 or 1234?`,
		head + "unit-oak;tile-sort;15;61,3\nunit-oak;tile-sort;15;1.234\n":     `line 3, column fps_mean: "1.234": is it 1.234 or 1234?`,
		head + "unit-oak;tile-sort;15;1.234,5\n":                               `line 2, column fps_mean: "1.234,5": is not a finite number`,
		"device,workload,fps_mean\nunit-oak,tile-sort,\"1,234\"\n":             `line 2, column fps_mean: "1,234": is it 1.234 or 1234?`,
		"device,workload,fps_mean\nunit-oak,tile-sort,68,4\n":                  `line 2: "unit-oak,tile-sort,68,4": wrong number of fields: it has 4, the heading 3`,
		"device,workload,duration_s (min)\nunit-oak,tile-sort,1\n":             "column duration_s (min): duration_s is in s: name the column duration (min)",
		"device,workload,package (s)\nunit-oak,tile-sort,1\n":                  "column package (s): package_w is in W",
		"device,workload,duration_s\nunit-oak,tile-sort,60 W\n":                `column duration_s: "60 W": is in W: want a number of seconds`,
		"device,workload,seting_w\nunit-oak,tile-sort,15\n":                    "column seting_w: did you mean setting_w? Rename it",
		"device,workload,duration\nunit-oak,tile-sort,60\n":                    "column duration: did you mean duration_s?",
		"devcie,workload,score\nunit-oak,tile-sort,60\n":                       "it has no column device (is devcie meant to be it?)",
		"device,workload,vairant\nunit-oak,tile-sort,cores=6\n":                `column vairant: "cores=6": is not a finite number, and vairant is no known column: did you mean variant?`,
		"device,workload,supply\nunit-oak,tile-sort,batery\n":                  `column supply: "batery": is no supply (did you mean battery?)`,
		"device,workload,time\nunit-oak,tile-sort,5 s\nunit-oak,tile-sort,5ms": `line 3, column time: "5ms": is in ms, but the column is in s`,
		"device,workload,started_at\nunit-oak,tile-sort,2026-05-04 09:30\n":    "want RFC 3339 with its zone",
	} {
		o := sweepd(t, "import", writeFile(t, "day.csv", table))
		if o.code != exitFailed || !strings.Contains(o.stderr, says) {
			t.Errorf("%q: exit %d, %q; want %q", table, o.code, o.stderr, says)
		}
	}
	if list := listedRuns(t, data); len(list) != 0 {
		t.Errorf("%d runs of tables that were refused", len(list))
	}
	// The rest of the table tells: nobody sets thousands apart beside decimal commas.
	list := importedRuns(t, head+"unit-oak;tile-sort;15;1,234\nunit-oak;tile-sort;12,5;61\n")
	if len(list) != 2 || list[0].Results["fps_mean"].Value != 1.234 {
		t.Errorf("%+v", list)
	}
	// A name that is meant is taken.
	if list := importedRuns(t, "device,workload,duration\nunit-oak,tile-sort,60\n", "--new"); list[0].Results["duration"].Value != 60 {
		t.Errorf("%+v", list)
	}
}

// A table that an earlier version imported adds nothing, as it stands or with its numbers
// written otherwise. The data is of `sweepd import` of this table at commit 32673a5, of version 2.
func TestImportOfWhatAnEarlierVersionImported(t *testing.T) {
	data := alone(t)
	old, err := os.ReadFile("../../store/sqlite/testdata/imported2.db")
	if err == nil {
		err = os.WriteFile(filepath.Join(data, "sweepd.db"), old, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	const table = `device,workload,variant,supply,setting_w,started_at,duration_s,package_w,fps_mean
unit-oak,harbour-flight,cores=6,battery,15,2026-05-04T09:30:00Z,60,14.9,68.4
unit-oak,harbour-flight,,mains,15,,,,61.25
unit-oak,harbour-flight,,mains,15,,,,61.25
unit-oak,harbour-flight,,mains,15,,,,68.40
`
	comma := strings.NewReplacer(",", ";", ".", ",").Replace(table)
	for name, text := range map[string]string{"as it stands": table, "decimal commas": comma, "units": strings.NewReplacer(",15,", ",15W,", "fps_mean", "fps_mean (fps)").Replace(table)} {
		if out := must(t, "import", writeFile(t, "old.csv", text)); !strings.Contains(out, "0 runs added, 4 were here already") {
			t.Errorf("%s: %s", name, out)
		}
	}
	if out := must(t, "import", writeFile(t, "new.csv", table+"unit-oak,harbour-flight,,mains,15,,,,61.25\n")); !strings.Contains(out, "1 run added, 4 were here already") {
		t.Errorf("a third equal row: %s", out)
	}
	if out := must(t, "check"); !strings.Contains(out, "5 runs whole, 0 damaged") {
		t.Error(out)
	}
}
