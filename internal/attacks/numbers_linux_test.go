package attacks

import (
	"strings"
	"testing"
)

// numbers are such as Go's own syntax has, and people mean otherwise.
var numbers = []attack{
	{
		fault:    "17 1_000, 0x10, 010, nan and ranges where a setting or a number is wanted",
		expected: "refused with what is wanted; 010 is ten",
		try: func(t *testing.T, m *machine) string {
			m.write("plan.yaml", "workloads: tile-sort\nsettings: 15W\nbattery: {full_wh: 1_000}\n")
			m.write("two.yaml", "workloads: tile-sort\nsettings: 15W\n---\nrepeats: 9\n")
			m.write("runs.csv", "device,workload,setting_w,fps_mean\nunit-oak,tile-sort,15,1_000\n")
			m.write("hex.csv", "device,workload,setting_w,fps_mean\nunit-oak,tile-sort,0x10,60\n")
			m.write("config.yaml", "thresholds:\n  frames_short: 1_0\n")
			for line, want := range map[string]string{
				"plan new --device unit-oak --workload tile-sort --settings nan-nan/nan":       "neither watts nor a name",
				"plan new --device unit-oak --workload tile-sort --settings 15W --repeats 1_0": "want a whole number",
				"plan new plan.yaml --device unit-oak":                                         "decimal notation",
				"plan new two.yaml --device unit-oak":                                          "a second document begins here",
				"run start --workload tile-sort --setting nan-nan/nan":                         "neither watts nor a name",
				"run start --workload tile-sort --setting 1_000":                               "neither watts nor a name",
				"run start --workload tile-sort --setting 8-28/4":                              "neither watts nor a name",
				"run stop --result fps=1_000":                                                  "is not a number",
				"import runs.csv":                                                              "is not a finite number",
				"import hex.csv":                                                               "setting_w",
				"run list --config config.yaml":                                                "decimal notation",
				"battery --full-energy 4_8Wh":                                                  "want watt hours",
				"compare --by supply --margin 1_0%":                                            "want a share",
			} {
				if o := m.run(strings.Fields(line)...); o.code == 0 || !strings.Contains(o.stderr, want) {
					t.Errorf("%s: exit %d, %s, want %q", line, o.code, o.stderr, want)
				}
			}
			m.mustRun("plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "15W", "--supply", "mains", "--repeats", "010")
			if out := m.mustRun("plan", "status", "--json").stdout; strings.Count(out, `"pass"`) != 10 {
				t.Errorf("010 passes: %s", out)
			}
			return "refused; ten"
		},
	},
}
