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

// The texts are those of Documentation/driver-api/thermal/sysfs-api.rst.
func TestHotLimitOfAThermalZone(t *testing.T) {
	for name, c := range map[string]struct {
		files map[string]string
		want  float64
	}{
		"the critical trip point, whatever comes first": {map[string]string{"trip_point_0_type": "passive\n", "trip_point_0_temp": "70000\n",
			"trip_point_1_type": "critical\n", "trip_point_1_temp": "105000\n", "trip_point_2_type": "critical\n", "trip_point_2_temp": "99000\n"}, 99},
		"one that means none": {map[string]string{"trip_point_0_type": "critical\n", "trip_point_0_temp": "-274000\n"}, math.NaN()},
		"hot is not critical": {map[string]string{"trip_point_0_type": "hot\n", "trip_point_0_temp": "90000\n"}, math.NaN()},
		"nothing is stated":   {nil, math.NaN()},
	} {
		t.Run(name, func(t *testing.T) {
			zone := filepath.Join(t.TempDir(), "thermal_zone3")
			if err := os.Mkdir(zone, 0o755); err != nil {
				t.Fatal(err)
			}
			for file, text := range c.files {
				if err := os.WriteFile(filepath.Join(zone, file), []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			got := hotLimit(run.Sensor{ID: run.Temperature, Source: filepath.Join(zone, "temp")})
			if got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}
