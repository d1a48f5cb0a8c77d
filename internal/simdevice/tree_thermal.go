package simdevice

import "strconv"

// criticalC is the temperature that the files state as critical.
const criticalC = 105

// thermalFiles are the thermal zones (Documentation/ABI/testing/sysfs-class-thermal).
type thermalFiles struct{ board, pkg, fan *file }

func newThermalFiles(d *Device, t *tree) part {
	f := &thermalFiles{}
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
	f.board = t.live(dir+"temp", "0")
	dir = zone("thermal_zone1", "x86_pkg_temp")
	f.pkg = t.live(dir+"temp", "0")
	t.fixed(dir+"trip_point_1_temp", strconv.FormatInt(milli(throttleC), 10))
	t.fixed(dir+"trip_point_1_type", "passive")
	if d.cfg.Without&PartFan == 0 {
		dir = t.member("thermal", "cooling_device0", "virtual") + "/"
		t.fixed(dir+"type", "Fan")
		t.fixed(dir+"max_state", "8")
		f.fan = t.live(dir+"cur_state", "0")
	}
	return f
}

func (f *thermalFiles) flush(d *Device, t *tree) {
	m := d.model
	t.putInt(f.board, roundTo(m.caseC()*1000, 100))
	t.putInt(f.pkg, roundTo(m.dieC()*1000, 1000))
	t.putInt(f.fan, int64(m.cool.fan*8+0.5))
}
