package simdevice

import "strconv"

// criticalC is the temperature that the files state as critical.
const criticalC = 105

// addThermalZones adds the thermal zones and the fan as a cooling device
// (Documentation/ABI/testing/sysfs-class-thermal).
func addThermalZones(d *Device, t *tree) {
	m := d.model
	zone := func(name, kind string) string {
		dir := t.member("thermal", name, "virtual") + "/"
		t.fixed(dir+"type", kind)
		t.fixed(dir+"mode", "enabled")
		t.fixed(dir+"policy", "step_wise")
		t.fixed(dir+"available_policies", "step_wise")
		t.fixed(dir+"trip_point_0_temp", strconv.FormatInt(milli(criticalC), 10))
		t.fixed(dir+"trip_point_0_type", "critical")
		return dir
	}
	dir := zone("thermal_zone0", "acpitz")
	t.number(dir+"temp", func() int64 { return roundTo(m.caseC()*1000, 100) })
	dir = zone("thermal_zone1", "x86_pkg_temp")
	t.number(dir+"temp", func() int64 { return roundTo(m.dieC()*1000, 1000) })
	t.fixed(dir+"trip_point_1_temp", strconv.FormatInt(milli(throttleC), 10))
	t.fixed(dir+"trip_point_1_type", "passive")
	if d.cfg.Without&PartFan == 0 {
		dir = t.member("thermal", "cooling_device0", "virtual") + "/"
		t.fixed(dir+"type", "Fan")
		t.fixed(dir+"max_state", "8")
		t.number(dir+"cur_state", func() int64 { return int64(m.cool.fan*8 + 0.5) })
	}
}
