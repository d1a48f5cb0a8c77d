package actuators

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// handheld is a tree as the kernel's documents describe it: what they say of names, types,
// units and modes; numbers are made up.
var handheld = map[string]string{
	// Documentation/ABI/testing/sysfs-class-firmware-attributes
	"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/type":              "integer",
	"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/current_value":     "15",
	"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/default_value":     "15",
	"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/min_value":         "5",
	"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/max_value":         "30",
	"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/scalar_increment":  "1",
	"class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/type":             "integer",
	"class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/current_value":    "20",
	"class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/min_value":        "8",
	"class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/max_value":        "35",
	"class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/scalar_increment": "1",
	"class/firmware-attributes/firmware/attributes/ppt_pl3_fppt/type":             "integer",
	"class/firmware-attributes/firmware/attributes/ppt_pl3_fppt/current_value":    "25",
	"class/firmware-attributes/firmware/attributes/ppt_pl3_fppt/min_value":        "10",
	"class/firmware-attributes/firmware/attributes/ppt_pl3_fppt/max_value":        "40",
	"class/firmware-attributes/firmware/attributes/ppt_pl3_fppt/scalar_increment": "5",
	// Of these, none is a limit in watts of the processor.
	"class/firmware-attributes/firmware/attributes/ppt_platform_sppt/type":          "integer",
	"class/firmware-attributes/firmware/attributes/ppt_platform_sppt/current_value": "60",
	"class/firmware-attributes/firmware/attributes/ppt_platform_sppt/min_value":     "30",
	"class/firmware-attributes/firmware/attributes/ppt_platform_sppt/max_value":     "90",
	"class/firmware-attributes/firmware/attributes/ppt_pl1_tau/type":                "integer",
	"class/firmware-attributes/firmware/attributes/ppt_pl1_tau/current_value":       "28",
	"class/firmware-attributes/firmware/attributes/ppt_pl1_tau/min_value":           "1",
	"class/firmware-attributes/firmware/attributes/ppt_pl1_tau/max_value":           "60",
	"class/firmware-attributes/firmware/attributes/boot_logo/type":                  "enumeration",
	"class/firmware-attributes/firmware/attributes/boot_logo/current_value":         "on",
	"class/firmware-attributes/firmware/authentication/Admin/is_enabled":            "0",
	// Documentation/power/powercap/powercap.rst
	"class/powercap/rapl/enabled":                             "1",
	"class/powercap/rapl:0/name":                              "package-0",
	"class/powercap/rapl:0/enabled":                           "1",
	"class/powercap/rapl:0/constraint_0_name":                 "long_term",
	"class/powercap/rapl:0/constraint_0_power_limit_uw":       "15000000",
	"class/powercap/rapl:0/constraint_0_max_power_uw":         "28000000",
	"class/powercap/rapl:0/constraint_1_name":                 "short_term",
	"class/powercap/rapl:0/constraint_1_power_limit_uw":       "25000000",
	"class/powercap/rapl:0/constraint_1_max_power_uw":         "0",
	"class/powercap/rapl:0/constraint_2_name":                 "peak_power",
	"class/powercap/rapl:0/constraint_2_power_limit_uw":       "90000000",
	"class/powercap/rapl:0:0/name":                            "core",
	"class/powercap/rapl:0:0/enabled":                         "0",
	"class/powercap/rapl:0:0/constraint_0_name":               "long_term",
	"class/powercap/rapl:0:0/constraint_0_power_limit_uw":     "0",
	"class/powercap/rapl-mmio:0/name":                         "package-0",
	"class/powercap/rapl-mmio:0/enabled":                      "1",
	"class/powercap/rapl-mmio:0/constraint_0_name":            "long_term",
	"class/powercap/rapl-mmio:0/constraint_0_power_limit_uw":  "20000000",
	"class/powercap/rapl-mmio:0/constraint_0_max_power_uw":    "28000000",
	"class/powercap/rapl-other:0/name":                        "package-0",
	"class/powercap/rapl-other:0/enabled":                     "0",
	"class/powercap/rapl-other:0/constraint_0_name":           "long_term",
	"class/powercap/rapl-other:0/constraint_0_power_limit_uw": "200000000",
	// Documentation/ABI/testing/sysfs-class-hwmon; in1 is the voltage of the northbridge
	"devices/pci0000:00/0000:04:00.0/hwmon/hwmon5/power1_cap":     "15000000",
	"devices/pci0000:00/0000:04:00.0/hwmon/hwmon5/power1_cap_min": "4000000",
	"devices/pci0000:00/0000:04:00.0/hwmon/hwmon5/power1_cap_max": "30000000",
	"devices/pci0000:00/0000:04:00.0/hwmon/hwmon5/in1_input":      "800",
	"devices/pci0000:00/0000:01:00.0/hwmon/hwmon2/power1_cap":     "80000000",
	"devices/pci0000:00/0000:01:00.0/hwmon/hwmon2/power1_cap_min": "0",
	"devices/pci0000:00/0000:01:00.0/hwmon/hwmon2/power1_cap_max": "100000000",
	// Documentation/ABI/testing/sysfs-platform_profile, sysfs-class-platform-profile
	"firmware/acpi/platform_profile":                                          "balanced",
	"firmware/acpi/platform_profile_choices":                                  "low-power balanced performance",
	"devices/platform/firmware.0/platform-profile/platform-profile-0/name":    "firmware",
	"devices/platform/firmware.0/platform-profile/platform-profile-0/profile": "balanced",
	"devices/platform/firmware.0/platform-profile/platform-profile-0/choices": "low-power balanced performance custom",
	"devices/platform/other.0/platform-profile/platform-profile-1/name":       "other",
	"devices/platform/other.0/platform-profile/platform-profile-1/profile":    "balanced",
	"devices/platform/other.0/platform-profile/platform-profile-1/choices":    "low-power quiet balanced performance",
	// Documentation/core-api/cpu_hotplug.rst: cpu0 stays. Siblings are n and n+4.
	"devices/system/cpu/cpu0/topology/core_id": "0", "devices/system/cpu/cpu0/topology/physical_package_id": "0",
	"devices/system/cpu/cpu4/topology/core_id": "0", "devices/system/cpu/cpu4/topology/physical_package_id": "0", "devices/system/cpu/cpu4/online": "1",
	"devices/system/cpu/cpu1/topology/core_id": "1", "devices/system/cpu/cpu1/topology/physical_package_id": "0", "devices/system/cpu/cpu1/online": "1",
	"devices/system/cpu/cpu5/topology/core_id": "1", "devices/system/cpu/cpu5/topology/physical_package_id": "0", "devices/system/cpu/cpu5/online": "1",
	"devices/system/cpu/cpu2/topology/core_id": "2", "devices/system/cpu/cpu2/topology/physical_package_id": "0", "devices/system/cpu/cpu2/online": "1",
	"devices/system/cpu/cpu6/topology/core_id": "2", "devices/system/cpu/cpu6/topology/physical_package_id": "0", "devices/system/cpu/cpu6/online": "1",
	"devices/system/cpu/cpu3/topology/core_id": "3", "devices/system/cpu/cpu3/topology/physical_package_id": "0", "devices/system/cpu/cpu3/online": "1",
	"devices/system/cpu/cpu7/topology/core_id": "3", "devices/system/cpu/cpu7/topology/physical_package_id": "0", "devices/system/cpu/cpu7/online": "1",
	// Documentation/admin-guide/pm/cpufreq.rst
	"devices/system/cpu/cpufreq/policy0/scaling_governor":                         "powersave",
	"devices/system/cpu/cpufreq/policy0/scaling_available_governors":              "performance powersave",
	"devices/system/cpu/cpufreq/policy0/energy_performance_preference":            "balance_performance",
	"devices/system/cpu/cpufreq/policy0/energy_performance_available_preferences": "default performance balance_performance balance_power power",
	"devices/system/cpu/cpufreq/policy4/scaling_governor":                         "powersave",
	"devices/system/cpu/cpufreq/policy4/scaling_available_governors":              "performance powersave schedutil",
	"devices/system/cpu/cpufreq/policy4/energy_performance_preference":            "balance_performance",
	"devices/system/cpu/cpufreq/policy4/energy_performance_available_preferences": "default performance balance_performance power",
}

// handheldLinks lead from classes to devices.
var handheldLinks = map[string]string{
	"class/drm/card0/device":                    "../../../devices/pci0000:00/0000:01:00.0",
	"class/drm/card1/device":                    "../../../devices/pci0000:00/0000:04:00.0",
	"class/platform-profile/platform-profile-0": "../../devices/platform/firmware.0/platform-profile/platform-profile-0",
	"class/platform-profile/platform-profile-1": "../../devices/platform/other.0/platform-profile/platform-profile-1",
}

// madeTree writes files, and links, below a folder of its own and returns it. change has
// other texts for some; "" leaves a file out, and so does a folder's name with "/". Only
// what is below one of some folders is made, if any are given.
func madeTree(t testing.TB, change map[string]string, only ...string) string {
	t.Helper()
	root, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{}
	for path, text := range handheld {
		files[path] = text
	}
	for path, text := range change {
		files[path] = text
		for below := range files {
			if strings.HasSuffix(path, "/") && strings.HasPrefix(below, path) {
				files[below] = ""
			}
		}
	}
	for path, text := range files {
		if text == "" || !wanted(path, only) {
			continue
		}
		put(t, root, path, text)
	}
	for path, to := range handheldLinks {
		if !wanted(path, only) {
			continue
		}
		if err := os.MkdirAll(filepath.Join(root, filepath.Dir(path)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(to, filepath.Join(root, path)); err != nil {
			t.Fatal(err)
		}
	}
	return root
}

func wanted(path string, only []string) bool {
	return len(only) == 0 || slices.ContainsFunc(only, func(folder string) bool { return strings.HasPrefix(path, folder) })
}

func put(t testing.TB, root, path, text string) {
	t.Helper()
	path = filepath.Join(root, path)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
}

// contents are all files below a folder with their texts and when they were last written.
func contents(t testing.TB, root string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		info, err := d.Info()
		rel, _ := filepath.Rel(root, path)
		files[rel] = strings.TrimSpace(string(text)) + " " + info.ModTime().String()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// all are the actuators of a tree.
func all(root string) []Actuator {
	return []Actuator{NewFirmware(root), NewPowercap(root), NewGPU(root), NewProfile(root), NewCores(root), NewGovernor(root), NewEnergyPreference(root)}
}
