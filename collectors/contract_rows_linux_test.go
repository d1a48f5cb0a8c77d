package collectors

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"runtime"
	"strings"
	"testing"
)

// contractRows are the collectors that the contract suite runs on.
var contractRows = []contractRow{
	{
		name: "power_supply, energy", make: NewPowerSupply,
		files: with("sys/class/power_supply/BAT0/", map[string]string{
			"type": "Battery\n", "scope": "System\n", "present": "1\n", "status": "Discharging\n",
			"power_now": "4830000\n", "voltage_now": "12229000\n", "current_now": "395000\n", "voltage_min_design": "10800000\n",
			"energy_now": "49450000\n", "energy_full": "50060000\n", "energy_full_design": "47520000\n",
			"capacity": "98\n", "temp": "315\n",
		}),
		values: below("sys/class/power_supply/BAT0/", "present status power_now voltage_now current_now energy_now energy_full energy_full_design capacity temp"),
	},
	{
		name: "power_supply, charge", make: NewPowerSupply,
		files: with("sys/class/power_supply/BAT1/", map[string]string{
			"type": "Battery\n", "status": "Charging\n", "voltage_now": "12229000\n", "current_now": "-1250000\n", "voltage_min_design": "11400000\n",
			"charge_now": "5200000\n", "charge_full": "5300000\n", "charge_full_design": "5400000\n",
		}),
		values: below("sys/class/power_supply/BAT1/", "status voltage_now current_now charge_now charge_full charge_full_design"),
	},
	{
		name: "power_supply, port", make: NewPowerSupply,
		files: with("sys/class/power_supply/port0/", map[string]string{
			"type": "USB\n", "online": "2\n", "usb_type": "C [PD] PD_PPS\n", "voltage_max": "20000000\n", "current_max": "3250000\n",
			"voltage_now": "19900000\n", "current_now": "1200000\n",
		}),
		values: below("sys/class/power_supply/port0/", "online usb_type voltage_max current_max voltage_now current_now"),
	},
	{
		name: "powercap", make: NewPowercap,
		files: with("sys/class/powercap/sim-power:a/", map[string]string{
			"name": "package-10\n", "enabled": "1\n", "energy_uj": "0\n", "max_energy_range_uj": "262143328850\n",
			"constraint_0_name": "long_term\n", "constraint_0_power_limit_uw": "25000000\n",
		}),
		values: below("sys/class/powercap/sim-power:a/", "energy_uj constraint_0_power_limit_uw"),
		advance: func(t testing.TB, roots Roots, n int) {
			rewrite(t, roots.sys("class", "powercap", "sim-power:a", "energy_uj"), fmt.Sprintf("%d\n", n*15_000_000))
		},
	},
	{
		name: "firmware_attributes", make: NewFirmwareAttributes,
		files:  map[string]string{"sys/class/firmware-attributes/sim/attributes/ppt_pl1_spl/current_value": "15\n"},
		values: []string{"sys/class/firmware-attributes/sim/attributes/ppt_pl1_spl/current_value"},
	},
	{
		name: "platform_profile", make: NewPlatformProfile,
		files: map[string]string{
			"sys/firmware/acpi/platform_profile":                           "balanced\n",
			"sys/class/platform-profile/platform-profile-0/profile":        "balanced\n",
			"sys/class/platform-profile/platform-profile-0/choices":        "low-power balanced performance\n",
			"sys/class/platform-profile/platform-profile-0/name":           "sim\n",
			"sys/class/platform-profile/platform-profile-extra/unexpected": "",
		},
		values: []string{"sys/firmware/acpi/platform_profile", "sys/class/platform-profile/platform-profile-0/profile"},
	},
	{
		name: "hwmon", make: NewHwmon,
		files: with("sys/class/hwmon/hwmon3/", map[string]string{
			"name": "sim_chip\n", "temp1_input": "43850\n", "temp1_label": "Composite\n", "power1_input": "15000000\n",
			"in0_input": "12229\n", "curr1_input": "395\n", "fan1_input": "3120\n", "energy1_input": "21721962583\n", "freq1_input": "852000000\n",
		}),
		values: below("sys/class/hwmon/hwmon3/", "temp1_input power1_input in0_input curr1_input fan1_input energy1_input freq1_input"),
	},
	{
		name: "thermal", make: NewThermal,
		files:  with("sys/class/thermal/thermal_zone0/", map[string]string{"type": "acpitz\n", "temp": "37000\n"}),
		values: []string{"sys/class/thermal/thermal_zone0/temp"},
	},
	{
		name: "drm", make: NewDRM,
		files: with("sys/class/drm/card0/device/", map[string]string{
			"gpu_busy_percent": "4\n", "pp_dpm_sclk": "0: 852Mhz *\n1: 991Mhz \n",
			"hwmon/hwmon2/name": "sim_gpu\n", "hwmon/hwmon2/temp1_input": "51000\n",
			"hwmon/hwmon2/power1_average": "15000000\n", "hwmon/hwmon2/power1_cap": "25000000\n",
		}),
		values: below("sys/class/drm/card0/device/", "gpu_busy_percent pp_dpm_sclk hwmon/hwmon2/temp1_input hwmon/hwmon2/power1_average hwmon/hwmon2/power1_cap"),
	},
	{
		name: "cpufreq", make: NewCPUFreq,
		files:  map[string]string{"sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq": "1219917\n"},
		values: []string{"sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq"},
	},
	{
		name: "cpus", make: NewCPUs,
		files:  map[string]string{"sys/devices/system/cpu/online": "0-1,3\n"},
		values: []string{"sys/devices/system/cpu/online"},
	},
	{
		name: "throttle", make: NewThrottle,
		files: with("sys/devices/system/cpu/cpu0/", map[string]string{
			"thermal_throttle/core_throttle_count": "10084\n", "thermal_throttle/package_throttle_count": "34818\n",
			"topology/core_id": "0\n", "topology/physical_package_id": "0\n",
		}),
		values: below("sys/devices/system/cpu/cpu0/thermal_throttle/", "core_throttle_count package_throttle_count"),
	},
	{
		name: "pressure", make: NewPressure,
		files: map[string]string{
			"proc/pressure/cpu":    "some avg10=0.10 avg60=2.00 avg300=3.85 total=15\n",
			"proc/pressure/memory": "some avg10=0.10 avg60=2.00 avg300=3.85 total=15\nfull avg10=0.20 avg60=3.00 avg300=4.95 total=25\n",
			"proc/pressure/io":     "some avg10=0.10 avg60=2.00 avg300=3.85 total=15\nfull avg10=0.20 avg60=3.00 avg300=4.95 total=25\n",
		},
		values: below("proc/pressure/", "cpu memory io"),
	},
	{
		name: "host", make: NewHost, library: true,
		files: map[string]string{
			"proc/stat":    "cpu  301854 612 111922 8979004 3552 2 3944 0 0 0\n",
			"proc/meminfo": "MemTotal: 15666184 kB\nMemFree: 440324 kB\nMemAvailable: 12800000 kB\n",
		},
		values: []string{"proc/stat", "proc/meminfo"},
		advance: func(t testing.TB, roots Roots, n int) {
			rewrite(t, roots.proc("stat"), fmt.Sprintf("cpu  %d 612 111922 %d 3552 2 3944 0 0 0\n", 301854+10*(n+1), 8979004+90*(n+1)))
		},
	},
}

// Every function that makes a Linux collector has a row.
func TestContractIsComplete(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	constructor := regexp.MustCompile(`(?m)^func (New\w+)\(roots Roots\) Collector`)
	known := map[string]bool{}
	for _, row := range contractRows {
		name := runtime.FuncForPC(reflect.ValueOf(row.make).Pointer()).Name()
		known[name[strings.LastIndex(name, ".")+1:]] = true
	}
	found := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, match := range constructor.FindAllSubmatch(text, -1) {
			found++
			if name := string(match[1]); !known[name] {
				t.Errorf("%s of %s has no row", name, file)
			}
		}
	}
	if found < 12 {
		t.Errorf("only %d constructors found", found)
	}
}

// with puts a folder before the names of files.
func with(folder string, files map[string]string) map[string]string {
	paths := map[string]string{}
	for name, content := range files {
		paths[folder+name] = content
	}
	return paths
}

// below lists files of a folder.
func below(folder, names string) (paths []string) {
	for name := range strings.FieldsSeq(names) {
		paths = append(paths, folder+name)
	}
	return paths
}
