package collectors

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"sweepd/run"
)

// The values are those that drivers state (Documentation/hwmon/sysfs-interface.rst, in
// thousandths of a degree), with the ones that mean none.
func TestHotLimit(t *testing.T) {
	for name, c := range map[string]struct {
		files map[string]string
		want  float64
	}{
		"the critical one goes first":      {map[string]string{"temp1_crit": "100000\n", "temp1_max": "80000\n"}, 100},
		"the highest that is meant":        {map[string]string{"temp1_max": "84850\n"}, 84.85},
		"a drive that states none":         {map[string]string{"temp1_crit": "65261850\n", "temp1_max": "81850"}, 81.85},
		"zero means none":                  {map[string]string{"temp1_crit": "0\n"}, math.NaN()},
		"no text, and no number":           {map[string]string{"temp1_crit": "", "temp1_max": "hot"}, math.NaN()},
		"nothing is stated":                {nil, math.NaN()},
		"that of another sensor is no use": {map[string]string{"temp2_crit": "90000"}, math.NaN()},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			for file, text := range c.files {
				if err := os.WriteFile(filepath.Join(dir, file), []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			got := hotLimit(run.Sensor{ID: run.Temperature, Source: filepath.Join(dir, "temp1_input")})
			if got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}
