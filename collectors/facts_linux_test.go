package collectors

import (
	"maps"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"sweepd/internal/simdevice"
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

const (
	backlight = "sys/class/backlight/"
	rfkill    = "sys/class/rfkill/"
)

// Of one panel that is there twice, the type that the kernel's document prefers counts;
// of two radios of a type, the one that is on.
func TestFactsSurroundings(t *testing.T) {
	wantFacts(t, madeTree(t, map[string]string{
		backlight + "acpi_video0/type": "firmware\n", backlight + "acpi_video0/actual_brightness": "9\n", backlight + "acpi_video0/max_brightness": "15\n",
		backlight + "native0/type": "raw\n", backlight + "native0/actual_brightness": "100\n", backlight + "native0/max_brightness": "255\n",
		rfkill + "rfkill0/type": "wlan\n", rfkill + "rfkill0/soft": "0\n", rfkill + "rfkill0/hard": "0\n",
		rfkill + "rfkill1/type": "wlan\n", rfkill + "rfkill1/soft": "1\n", rfkill + "rfkill1/hard": "0\n",
		rfkill + "rfkill2/type": "bluetooth\n", rfkill + "rfkill2/soft": "1\n", rfkill + "rfkill2/hard": "0\n",
		rfkill + "rfkill3/type": "wwan\n", rfkill + "rfkill3/soft": "0\n", rfkill + "rfkill3/hard": "1\n",
		rfkill + "rfkill4/type": "nfc\n", rfkill + "rfkill4/soft": "0\n", rfkill + "rfkill4/hard": "0\n",
		"sys/class/net/wlan0/wireless/status": "0x0\n", "sys/class/net/wlan0/operstate": "dormant\n",
		"sys/class/net/eth0/operstate": "up\n",
	}), map[string]string{
		"display_brightness_ratio": "0.6", // 9 of 15
		"radio_wlan":               "on", "radio_bluetooth": "off", "radio_wwan": "off by its switch", "radio_nfc": "", "wlan_link": "dormant",
		"display_refresh_hertz": "",
	})
	wantFacts(t, madeTree(t, map[string]string{
		backlight + "native0/type": "raw\n", backlight + "native0/actual_brightness": "300\n", backlight + "native0/max_brightness": "255\n",
		rfkill + "rfkill0/type": "wlan\n", rfkill + "rfkill0/soft": "?\n",
		"sys/class/net/eth0/operstate": "up\n",
	}), map[string]string{"display_brightness_ratio": "", "radio_wlan": "", "wlan_link": ""})
}

// The display that the simulated device shows dims where it is unplugged, and so does what
// it draws.
func TestFactsOfADeviceThatDims(t *testing.T) {
	dir := t.TempDir()
	d, err := simdevice.New(dir, simdevice.Config{StartOnMains: true, BatteryDim: 0.6}, time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	roots := Roots{Sys: filepath.Join(dir, "sys"), Proc: filepath.Join(dir, "proc")}
	wantFacts(t, roots, map[string]string{"display_brightness_ratio": "1", "radio_wlan": "on", "radio_bluetooth": "on", "wlan_link": "up"})
	d.Unplug()
	d.SwitchRadios(false)
	if err := d.Flush(); err != nil {
		t.Fatal(err)
	}
	wantFacts(t, roots, map[string]string{"display_brightness_ratio": "0.6", "radio_wlan": "off", "radio_bluetooth": "off", "wlan_link": "down"})
}
