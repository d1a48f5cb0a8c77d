package collectors

import "testing"

// The two zones of the procfs capture: a negative temperature is a value.
func TestThermalCaptured(t *testing.T) {
	roots := capture(t, "sys/class/thermal")
	wantReadings(t, NewThermal(roots), map[string]float64{
		"temperature_celsius " + staticText(roots.sys("class", "thermal", "thermal_zone0", "type")): 49.925,
		"temperature_celsius acpitz": -44,
	})
}

// The worked tree of the kernel's Documentation/driver-api/thermal/sysfs-api.rst:
// one zone at 37 °C and the chip that repeats it, which has no device link
// there. One sensor, not two.
func TestThermalKernelDocument(t *testing.T) {
	const zone = "sys/class/thermal/thermal_zone0/"
	roots := madeTree(t, map[string]string{
		zone + "type": "acpitz\n", zone + "temp": "37000\n", zone + "mode": "enabled\n", zone + "policy": "step_wise\n",
		zone + "trip_point_0_temp": "100000\n", zone + "trip_point_0_type": "critical\n",
		zone + "trip_point_1_temp": "80000\n", zone + "trip_point_1_type": "passive\n",
		zone + "trip_point_2_temp": "70000\n", zone + "trip_point_2_type": "active0\n",
		zone + "trip_point_3_temp": "60000\n", zone + "trip_point_3_type": "active1\n",
		"sys/class/thermal/cooling_device0/type": "Processor\n", "sys/class/thermal/cooling_device0/cur_state": "0\n",
		"sys/class/thermal/cooling_device0/max_state": "8\n",
		"sys/class/hwmon/hwmon0/name":                 "acpitz\n", "sys/class/hwmon/hwmon0/temp1_input": "37000\n",
		"sys/class/hwmon/hwmon0/temp1_crit": "100000\n",
	})
	wantReadings(t, NewThermal(roots), map[string]float64{"temperature_celsius acpitz": 37})
	wantReadings(t, NewHwmon(roots), map[string]float64{})
}

func TestThermalNames(t *testing.T) {
	roots := madeTree(t, map[string]string{
		"sys/class/thermal/thermal_zone0/type": "acpitz", "sys/class/thermal/thermal_zone0/temp": "31000",
		"sys/class/thermal/thermal_zone0/device": "-> sys/devices/LNXSYSTM:00/LNXTHERM:00",
		"sys/class/thermal/thermal_zone2/type":   "acpitz", "sys/class/thermal/thermal_zone2/temp": "32000",
		"sys/class/thermal/thermal_zone2/device": "-> sys/devices/LNXSYSTM:00/LNXTHERM:01",
		"sys/class/thermal/thermal_zone3/type":   "soc", "sys/class/thermal/thermal_zone3/temp": "33000",
		"sys/class/thermal/thermal_zone10/type": "soc", "sys/class/thermal/thermal_zone10/temp": "34000",
		"sys/class/thermal/thermal_zone11/temp": "-274000", // no type; the kernel's mark of "no value"
	})
	wantReadings(t, NewThermal(roots), map[string]float64{
		"temperature_celsius acpitz@LNXTHERM:00": 31,
		"temperature_celsius acpitz@LNXTHERM:01": 32,
		"temperature_celsius soc#1":              33,
		"temperature_celsius soc#2":              34,
		"temperature_celsius thermal_zone11":     missing,
	})
}
