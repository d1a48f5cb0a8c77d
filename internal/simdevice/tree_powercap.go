package simdevice

import (
	"fmt"
	"math"
	"strconv"
)

// powercapFiles are the energy counters of the package and of its parts
// (Documentation/power/powercap/powercap.rst). The control type has an invented
// name; the last part of a zone's folder is hexadecimal.
type powercapFiles struct {
	wrap                 uint64
	whole, cores, uncore *file
	limits               [2]*file // long_term, short_term
}

func newPowercapFiles(d *Device, t *tree) part {
	f := &powercapFiles{wrap: d.cfg.WrapMicroJ}
	root := "sys/devices/virtual/powercap/sim-power/"
	zone := fmt.Sprintf("sim-power:%x", d.cfg.PowercapZone)
	t.fixed(root+"enabled", "1")
	t.link("sys/class/powercap/sim-power", "sys/devices/virtual/powercap/sim-power")
	f.whole = f.zone(t, root+zone+"/", "package-0")
	f.cores = f.zone(t, root+zone+"/"+zone+":0/", "core")
	f.uncore = f.zone(t, root+zone+"/"+zone+":1/", "uncore")
	for _, name := range []string{zone, zone + "/" + zone + ":0", zone + "/" + zone + ":1"} {
		t.link("sys/class/powercap/"+lastPart(name), root+name)
	}
	if d.cfg.Without&PartPowercapLimit == 0 {
		for k, name := range [2]string{"long_term", "short_term"} {
			dir := fmt.Sprintf("%s%s/constraint_%d_", root, zone, k)
			t.fixed(dir+"name", name)
			f.limits[k] = t.live(dir+"power_limit_uw", "0")
			t.fixed(dir+"time_window_us", [2]string{"999424", "2440"}[k])
		}
		t.fixed(root+zone+"/constraint_0_max_power_uw", strconv.FormatInt(micro(d.cfg.MaxW), 10))
		t.fixed(root+zone+"/constraint_1_max_power_uw", "") // seen on real devices
	}
	return f
}

func (f *powercapFiles) zone(t *tree, dir, name string) *file {
	t.fixed(dir+"name", name)
	t.fixed(dir+"enabled", "1")
	t.fixed(dir+"max_energy_range_uj", strconv.FormatUint(f.wrap, 10))
	return t.secret(dir+"energy_uj", "0")
}

func lastPart(path string) string {
	for i := len(path) - 1; i >= 0; i-- {
		if path[i] == '/' {
			return path[i+1:]
		}
	}
	return path
}

// count is what a counter that wraps at f.wrap shows for an energy: after a
// decrease the difference is range - previous + current.
func (f *powercapFiles) count(joules float64) int64 {
	return int64(uint64(math.Floor(joules*1e6)) % f.wrap)
}

func (f *powercapFiles) applyWrites(d *Device, t *tree) { applyWattsWritten(d, t, f.limits[0], 1e6) }

func (f *powercapFiles) flush(d *Device, t *tree) {
	m := d.model
	t.putInt(f.whole, f.count(m.packageJ))
	t.putInt(f.cores, f.count(m.cpuJ))
	t.putInt(f.uncore, f.count(m.gpuJ))
	t.putInt(f.limits[0], micro(m.limit.settingW))
	t.putInt(f.limits[1], micro(m.limit.settingW*1.2))
}

// applyWattsWritten obeys a power limit that was written into a file in units of
// 1/perWatt W, if it lies in the range that the firmware states; else it puts
// the old text back.
func applyWattsWritten(d *Device, t *tree, f *file, perWatt float64) {
	text, ok := t.written(f)
	if !ok {
		return
	}
	if v, err := strconv.ParseFloat(text, 64); err == nil && !d.cfg.IgnoreWrites {
		if watts := v / perWatt; watts >= d.cfg.MinW && watts <= d.cfg.MaxW {
			d.model.limit.setWatts(watts)
		}
	}
	t.restore(f)
}
