package collectors

import (
	"slices"
	"strings"
	"testing"
	"time"
)

// The two cards of the procfs capture: one with load and clock, one with
// connectors only.
func TestDRMCaptured(t *testing.T) {
	roots := capture(t, "sys/class/drm")
	name := linkName(roots.sys("class", "drm", "card0", "device"), "driver")
	if name == "" {
		t.Fatal("the capture lost its links")
	}
	wantReadings(t, NewDRM(roots), map[string]float64{
		"gpu_busy_ratio " + name:      0.04,
		"gpu_frequency_hertz " + name: 852e6,
	})
}

const card = "sys/devices/pci0000:00/0000:03:00.0/"

// gpuTree is a card with a sensor chip, files after the kernel's GPU
// power-management document.
func gpuTree(changes map[string]string) map[string]string {
	files := map[string]string{
		"sys/class/drm/card1/device":         "-> " + card[:len(card)-1],
		"sys/class/drm/card1-DP-1/status":    "connected",
		"sys/class/drm/renderD128/dev":       "226:128",
		card + "driver":                      "-> sys/bus/pci/drivers/gpu_driver",
		card + "gpu_busy_percent":            "97\n",
		card + "pp_dpm_sclk":                 "0: 200Mhz \n1: 1600Mhz *\n",
		card + "hwmon/hwmon5/name":           "gpu_chip\n",
		card + "hwmon/hwmon5/temp1_input":    "61000\n",
		card + "hwmon/hwmon5/temp1_label":    "edge\n",
		card + "hwmon/hwmon5/in0_input":      "1055\n",
		card + "hwmon/hwmon5/in0_label":      "vddgfx\n",
		card + "hwmon/hwmon5/power1_average": "15000000\n",
		card + "hwmon/hwmon5/freq1_input":    "852000000\n",
		card + "hwmon/hwmon5/freq1_label":    "sclk\n",
		card + "hwmon/hwmon5/freq2_input":    "400000000\n",
		card + "hwmon/hwmon5/freq2_label":    "mclk\n",
		card + "hwmon/hwmon5/power1_cap":     "25000000\n",
	}
	for path, content := range changes {
		if content == "" {
			delete(files, path)
		} else {
			files[path] = content
		}
	}
	return files
}

func TestDRMDiscrete(t *testing.T) {
	wantReadings(t, NewDRM(madeTree(t, gpuTree(nil))), map[string]float64{
		"gpu_busy_ratio gpu_driver":           0.97,
		"gpu_frequency_hertz gpu_driver":      852e6,
		"gpu_power_watts gpu_driver":          15,
		"temperature_celsius gpu_driver/edge": 61,
		"voltage_volts gpu_driver/vddgfx":     1.055,
		"frequency_hertz gpu_driver/mclk":     400e6,
		"power_limit_watts gpu":               25,
	})
}

// A voltage of the northbridge marks an integrated GPU: its power is that of
// the whole socket, CPU included (same document).
func TestDRMIntegrated(t *testing.T) {
	roots := madeTree(t, gpuTree(map[string]string{
		card + "hwmon/hwmon5/in1_input": "800\n", card + "hwmon/hwmon5/in1_label": "vddnb\n",
		card + "hwmon/hwmon5/power1_average": "", card + "hwmon/hwmon5/power1_input": "11500000\n",
		card + "hwmon/hwmon5/power1_cap": "0\n", // no limit is not a limit of 0 W
	}))
	wantReadings(t, NewDRM(roots), map[string]float64{
		"gpu_busy_ratio gpu_driver":           0.97,
		"gpu_frequency_hertz gpu_driver":      852e6,
		"package_power_watts gpu":             11.5,
		"temperature_celsius gpu_driver/edge": 61,
		"voltage_volts gpu_driver/vddgfx":     1.055,
		"voltage_volts gpu_driver/vddnb":      0.8,
		"frequency_hertz gpu_driver/mclk":     400e6,
		"power_limit_watts gpu":               missing,
	})
}

// The integrated card's cap is the machine's, whichever arrived first.
func TestDRMTwoCards(t *testing.T) {
	const other = "sys/devices/pci0000:00/0000:01:00.0/"
	files := gpuTree(map[string]string{card + "hwmon/hwmon5/in1_input": "800"})
	files["sys/class/drm/card0/device"] = "-> " + other[:len(other)-1]
	files[other+"driver"] = "-> sys/bus/pci/drivers/gpu_driver"
	files[other+"hwmon/hwmon4/power1_cap"] = "90000000"
	files[other+"hwmon/hwmon4/power1_input"] = "60000000"
	got := readings(t, NewDRM(madeTree(t, files)))
	for key, want := range map[string]float64{
		"package_power_watts gpu":                          15,
		"gpu_power_watts gpu_driver@0000:01:00.0":          60,
		"power_limit_watts gpu":                            25,
		"power_limit_watts gpu gpu_driver@0000:01:00.0":    90,
		"temperature_celsius gpu_driver@0000:03:00.0/edge": 61,
	} {
		if got[key].value != want || got[key].err != nil {
			t.Errorf("%s = %v (%v), want %v", key, got[key].value, got[key].err, want)
		}
	}
}

// A GPU that the kernel may put to sleep is not woken by reading it.
func TestDRMSleeping(t *testing.T) {
	roots := madeTree(t, gpuTree(map[string]string{
		card + "power/control": "auto\n", card + "power/runtime_status": "suspended\n", card + "hwmon/hwmon5/freq1_input": "",
	}))
	for key, r := range readings(t, NewDRM(roots)) {
		if r.err == nil || !strings.Contains(r.err.Error(), "runtime_status") {
			t.Errorf("%s of a sleeping GPU: %v, error %v", key, r.value, r.err)
		}
	}
	rewrite(t, roots.sys("class", "drm", "card1", "device", "power", "runtime_status"), "active\n")
	for key, r := range readings(t, NewDRM(roots)) {
		if r.err != nil {
			t.Errorf("%s of a GPU that is awake: %v", key, r.err)
		}
	}
}

// Tables of clock levels; a star, several or none are all possible (same
// document). The first is from the procfs capture.
func TestStarredMegahertz(t *testing.T) {
	for _, c := range []struct {
		table string
		mhz   int64
		ok    bool
	}{
		{"0: 852Mhz *\n1: 991Mhz \n2: 1084Mhz \n7: 1630Mhz ", 852, true},
		{"0: 200Mhz\n1: 700Mhz *\n2: 1600Mhz", 700, true},
		{"S: 19Mhz *\n0: 615Mhz\n1: 800Mhz\n2: 888Mhz", 19, true},
		{"0: 200Mhz *\n1: 700Mhz *\n2: 1600Mhz", 700, true},
		{"0: 200Mhz\n1: 700Mhz", 0, false},
		{"0: 200 *", 0, false},
		{"0: Mhz *", 0, false},
		{"*", 0, false},
		{"", 0, false},
		{"\n\n:", 0, false},
	} {
		if mhz, ok := starredMegahertz([]byte(c.table)); mhz != c.mhz || ok != c.ok {
			t.Errorf("%q: %d, %v; want %d, %v", c.table, mhz, ok, c.mhz, c.ok)
		}
	}
}

func TestDRMClockSources(t *testing.T) {
	for name, c := range map[string]struct {
		files map[string]string
		want  map[string]float64
	}{
		"table":            {map[string]string{card + "pp_dpm_sclk": "0: 200Mhz \n1: 1600Mhz *\n"}, map[string]float64{"gpu_frequency_hertz gpu_driver": 1.6e9}},
		"table, no star":   {map[string]string{card + "pp_dpm_sclk": "0: 200Mhz \n1: 1600Mhz \n"}, map[string]float64{"gpu_frequency_hertz gpu_driver": missing}},
		"one for the card": {map[string]string{"sys/class/drm/card1/gt_act_freq_mhz": "1250"}, map[string]float64{"gpu_frequency_hertz gpu_driver": 1.25e9}},
		"one for a unit": {map[string]string{card + "tile0/gt0/freq0/act_freq": "1300", card + "tile0/gt1/freq0/act_freq": "0"},
			map[string]float64{"gpu_frequency_hertz gpu_driver": 1.3e9, "gpu_frequency_hertz gpu_driver/tile0 gt1": 0}},
	} {
		t.Run(name, func(t *testing.T) {
			c.files["sys/class/drm/card1/device"] = "-> " + card[:len(card)-1]
			c.files[card+"driver"] = "-> sys/bus/pci/drivers/gpu_driver"
			wantReadings(t, NewDRM(madeTree(t, c.files)), c.want)
		})
	}
}

func TestDRMBadValues(t *testing.T) {
	roots := madeTree(t, gpuTree(map[string]string{card + "gpu_busy_percent": "65535"}))
	offers, _ := NewDRM(roots).Scan()
	p := opened(t, offers[0])
	dst := []float64{0}
	first := p.Read(0, dst)
	if again := p.Read(time.Second, dst); first == nil || again != first || dst[0] == dst[0] {
		t.Errorf("a load of 65535 %%: %v, errors %v and %v", dst[0], first, again)
	}
}

func TestDRMAbsences(t *testing.T) {
	_, absences := NewDRM(madeTree(t, nil)).Scan()
	if len(absences) != 1 || !strings.HasSuffix(absences[0].Source, "/class/drm/card*") {
		t.Errorf("without a card: %+v", absences)
	}
	_, absences = NewDRM(capture(t, "sys/class/drm")).Scan()
	var sources []string
	for _, a := range absences {
		_, source, _ := strings.Cut(a.Source, "/class/drm/")
		sources = append(sources, source)
	}
	if want := []string{"card0/device/hwmon/hwmon*/power1_average", "card1/device/gpu_busy_percent",
		"card1/device/pp_dpm_sclk", "card1/device/hwmon/hwmon*/power1_average"}; !slices.Equal(sources, want) {
		t.Errorf("missing in the capture: %q, want %q", sources, want)
	}
}
