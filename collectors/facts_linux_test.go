package collectors

import (
	"maps"
	"strings"
	"testing"
)

func wantFacts(t *testing.T, roots Roots, want map[string]string) {
	t.Helper()
	got := ReadFacts(roots)
	for key, value := range want {
		if got[key] != value {
			t.Errorf("%s = %q, want %q", key, got[key], value)
		}
	}
}

// The facts of the procfs capture, value by value; names of makers are read
// from its files, not written here.
func TestFactsCaptured(t *testing.T) {
	roots := capture(t, "sys/class", "sys/devices/system/cpu", "sys/devices/LNXSYSTM:00", "proc/cpuinfo", "proc/meminfo", "proc/stat")
	id := roots.sys("class", "dmi", "id")
	wantFacts(t, roots, map[string]string{
		"host_vendor":             staticText(id, "sys_vendor"),
		"host_model":              staticText(id, "product_name"),
		"host_version":            "", // the file is empty
		"host_board":              "07PXPY",
		"firmware_version":        "2.2.4",
		"firmware_date":           "04/12/2021",
		"cpu_microcode":           "0xb4",
		"cores_active":            "2",
		"memory_total_bytes":      "16042172416", // 15666184 kB
		"cpu_governor":            "powersave",
		"cpu_frequency_max_hertz": "3300000000",
		"gpu_firmware_version":    "115-D050PIL-100",
		"gpu_performance_level":   "manual",
		"battery_design_wh":       "47.52",
		"battery_full_wh":         "50.06",
		"battery_cycles":          "", // 0 stands for unknown
		"charger_type":            "", // mains is offline
		"charger_watts":           "",
	})
	facts := ReadFacts(roots)
	if drivers := strings.Split(facts["gpu_driver"], ", "); len(drivers) != 2 {
		t.Errorf("GPU drivers %q, want those of two cards", drivers)
	}
	if !strings.Contains(facts["cpu_model"], "@ 1.90GHz") {
		t.Errorf("CPU model %q", facts["cpu_model"])
	}
	for key, value := range facts {
		if strings.Contains(value, staticText(id, "product_serial")) {
			t.Errorf("%s holds the serial number", key)
		}
	}
}

const (
	supply  = "sys/class/power_supply/"
	onlyCPU = "sys/devices/system/cpu/"
)

// A portable machine with two batteries, one of which counts charge: 5.2 Ah at
// 11.4 V are 59.28 Wh.
func TestFactsMade(t *testing.T) {
	roots := madeTree(t, map[string]string{
		"sys/class/dmi/id/product_name":              "Unit Oak\n",
		"sys/class/dmi/id/sys_vendor":                "To be filled by O.E.M.\n",
		"sys/class/dmi/id/board_name":                "Default string\n",
		"sys/class/dmi/id/ec_firmware_release":       "1.7\n",
		"proc/sys/kernel/osrelease":                  "6.14.0-oak\n",
		onlyCPU + "online":                           "0-5\n",
		onlyCPU + "smt/control":                      "off\n",
		onlyCPU + "cpufreq/boost":                    "0\n",
		onlyCPU + "cpufreq/policy0/scaling_cur_freq": "1000000", onlyCPU + "cpufreq/policy0/scaling_governor": "powersave",
		onlyCPU + "cpufreq/policy0/energy_performance_preference": "balance_power", onlyCPU + "cpufreq/policy0/scaling_max_freq": "3500000",
		onlyCPU + "cpufreq/policy4/scaling_cur_freq": "1000000", onlyCPU + "cpufreq/policy4/scaling_governor": "performance",
		onlyCPU + "cpufreq/policy4/energy_performance_preference": "balance_power", onlyCPU + "cpufreq/policy4/scaling_max_freq": "5100000",
		"sys/firmware/acpi/platform_profile": "quiet\n",
		supply + "BAT0/type":                 "Battery\n", supply + "BAT0/energy_full": "40000000", supply + "BAT0/energy_full_design": "45000000",
		supply + "BAT0/cycle_count": "112", supply + "BAT0/technology": "Li-ion", supply + "BAT0/present": "1",
		supply + "BAT1/type": "Battery\n", supply + "BAT1/charge_full": "5200000", supply + "BAT1/charge_full_design": "6000000",
		supply + "BAT1/voltage_min_design": "11400000", supply + "BAT1/cycle_count": "7", supply + "BAT1/technology": "Li-ion",
		supply + "BAT2/type": "Battery\n", supply + "BAT2/present": "0", supply + "BAT2/technology": "NiMH",
		supply + "mouse/type": "Battery\n", supply + "mouse/scope": "Device\n", supply + "mouse/energy_full": "1000000", supply + "mouse/technology": "NiMH",
		supply + "AC/type": "Mains\n", supply + "AC/online": "1",
		supply + "port0/type": "USB\n", supply + "port0/online": "1", supply + "port0/usb_type": "C [PD] PD_PPS\n",
		supply + "port0/voltage_max": "20000000", supply + "port0/current_max": "3250000",
		supply + "port1/type": "USB\n", supply + "port1/online": "0", supply + "port1/usb_type": "[C] PD PD_PPS\n",
	})
	wantFacts(t, roots, map[string]string{
		"host_model": "Unit Oak", "host_vendor": "", "host_board": "", "controller_firmware_version": "1.7",
		"kernel_version": "6.14.0-oak", "cpus_online": "6", "smt": "off", "cpu_boost": "off",
		"cpu_governor": "powersave, performance", "cpu_energy_preference": "balance_power", "cpu_frequency_max_hertz": "5100000000",
		"platform_profile": "quiet",
		"battery_full_wh":  "99.28", "battery_design_wh": "113.4", "battery_cycles": "112, 7", "battery_technology": "Li-ion",
		"charger_type": "PD", "charger_watts": "65",
	})
}

func TestFactsLeftOut(t *testing.T) {
	roots := madeTree(t, map[string]string{
		supply + "BAT0/type": "Battery\n", supply + "BAT0/charge_full": "5200000", // no voltage to make Wh of it
		supply + "BAT0/technology":                              "Unknown\n",
		"sys/class/platform-profile/platform-profile-0/profile": "custom\n",
		"sys/firmware/devicetree/base/model":                    "Unit Elm\x00",
		supply + "AC/type":                                      "Mains\n", supply + "AC/online": "1\n",
	})
	wantFacts(t, roots, map[string]string{
		"battery_full_wh": "", "battery_design_wh": "", "battery_technology": "", "battery_cycles": "",
		"platform_profile": "custom", "host_model": "Unit Elm", "charger_type": "Mains", "charger_watts": "",
		"memory_total_bytes": "", "gpu_driver": "", "cpu_model": "",
	})
	if value, there := ReadFacts(roots)["battery_full_wh"]; there {
		t.Errorf("battery_full_wh is there with %q, not left out", value)
	}
}

// Of several supplies the one that states its rating counts, then the one that
// states its USB type, whatever their order.
func TestFactsCharger(t *testing.T) {
	rated := func(name string) map[string]string {
		return map[string]string{supply + name + "/type": "USB", supply + name + "/online": "1",
			supply + name + "/voltage_max": "20000000", supply + name + "/current_max": "5000000"}
	}
	typed := func(name string) map[string]string {
		return map[string]string{supply + name + "/type": "USB", supply + name + "/online": "1", supply + name + "/usb_type": "[C] PD"}
	}
	plain := func(name string) map[string]string {
		return map[string]string{supply + name + "/type": "Mains", supply + name + "/online": "1"}
	}
	for name, c := range map[string]struct {
		trees       []map[string]string
		kind, watts string
	}{
		"rated last":      {[]map[string]string{plain("a"), typed("b"), rated("c")}, "USB", "100"},
		"rated first":     {[]map[string]string{rated("a"), typed("b"), plain("c")}, "USB", "100"},
		"typed and plain": {[]map[string]string{plain("a"), typed("b")}, "C", ""},
		"plain":           {[]map[string]string{plain("a"), plain("b")}, "Mains", ""},
	} {
		t.Run(name, func(t *testing.T) {
			files := map[string]string{}
			for _, tree := range c.trees {
				maps.Copy(files, tree)
			}
			wantFacts(t, madeTree(t, files), map[string]string{"charger_type": c.kind, "charger_watts": c.watts})
		})
	}
}
