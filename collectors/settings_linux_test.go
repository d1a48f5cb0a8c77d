package collectors

import (
	"math"
	"slices"
	"testing"
	"time"

	"sweepd/run"
)

func TestFirmwareLimit(t *testing.T) {
	const attributes = "sys/class/firmware-attributes/"
	for name, c := range map[string]struct {
		files map[string]string
		want  float64
	}{
		"current_value alone": {map[string]string{"sim/attributes/ppt_pl1_spl/current_value": "15\n"}, 15},
		// The example of Documentation/ABI/testing/sysfs-class-firmware-attributes
		// for an integer.
		"all files": {map[string]string{
			"sim/attributes/ppt_pl1_spl/current_value": "15\n", "sim/attributes/ppt_pl1_spl/type": "integer\n", "sim/attributes/ppt_pl1_spl/min_value": "5\n",
			"sim/attributes/ppt_pl1_spl/max_value": "30\n", "sim/attributes/ppt_pl1_spl/scalar_increment": "1\n",
			"sim/attributes/ppt_pl2_sppt/current_value": "20\n", "sim/attributes/pending_reboot": "0\n"}, 15},
		"several drivers":         {map[string]string{"a/attributes/boot/current_value": "1\n", "b/attributes/ppt_pl1_spl/current_value": "17\n", "c/attributes/ppt_pl1_spl/current_value": "18\n"}, 17},
		"the first cannot say it": {map[string]string{"b/attributes/ppt_pl1_spl/current_value": "\n", "c/attributes/ppt_pl1_spl/current_value": "18\n"}, 18},
		"in milliwatts":           {map[string]string{"b/attributes/ppt_pl1_spl/current_value": "15000\n"}, missing},
		"zero":                    {map[string]string{"b/attributes/ppt_pl1_spl/current_value": "0\n"}, missing},
	} {
		t.Run(name, func(t *testing.T) {
			wantReadings(t, NewFirmwareAttributes(madeTree(t, with(attributes, c.files))), map[string]float64{"power_limit_watts firmware": c.want})
		})
	}
	offers, absences := NewFirmwareAttributes(madeTree(t, map[string]string{attributes + "sim/attributes/boot/current_value": "1\n"})).Scan()
	if len(offers) != 0 || len(absences) != 1 || absences[0].Remedy == "" {
		t.Errorf("offers %v, absences %v", offers, absences)
	}
}

func TestPlatformProfile(t *testing.T) {
	const legacy, class = "sys/firmware/acpi/platform_profile", "sys/class/platform-profile/platform-profile-"
	index := func(word string) float64 { return float64(slices.Index(run.PlatformProfiles, word)) }
	for name, c := range map[string]struct {
		files map[string]string
		want  float64
	}{
		"for all drivers":         {map[string]string{legacy: "low-power\n", class + "0/profile": "performance\n"}, index("low-power")},
		"by driver":               {map[string]string{class + "10/profile": "quiet\n", class + "2/profile": "custom\n"}, index("custom")},
		"drivers that differ":     {map[string]string{legacy: "custom\n", class + "0/profile": "performance\n"}, index("custom")},
		"a word of tomorrow":      {map[string]string{legacy: "ludicrous\n"}, missing},
		"the first cannot say it": {map[string]string{legacy: "\n", class + "0/profile": "balanced\n"}, index("balanced")},
	} {
		t.Run(name, func(t *testing.T) {
			if c.want == -1 {
				t.Fatal("the list of profiles lacks a word")
			}
			wantReadings(t, NewPlatformProfile(madeTree(t, c.files)), map[string]float64{"platform_profile": c.want})
		})
	}
	// The kernel document's words (sysfs-platform_profile, and custom of
	// sysfs-class-platform-profile) are all known.
	for _, word := range []string{"low-power", "cool", "quiet", "balanced", "balanced-performance", "performance", "custom"} {
		if index(word) < 0 {
			t.Errorf("%s is unknown", word)
		}
	}
	offers, _ := NewPlatformProfile(madeTree(t, map[string]string{legacy: "cool\n"})).Scan()
	p, dst := opened(t, offers[0]), []float64{math.NaN()}
	if err := p.Read(time.Second, dst); err != nil || offers[0].MinInterval != time.Second || run.PlatformProfiles[int(dst[0])] != "cool" {
		t.Errorf("read %v, %v, interval %v", dst, err, offers[0].MinInterval)
	}
}
