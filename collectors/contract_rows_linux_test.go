package collectors

import (
	"fmt"
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
