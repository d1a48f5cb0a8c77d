package simdevice

import (
	"fmt"
	"math"
	"path"
	"strconv"
)

// addPowercap adds the energy counters of the package and of its parts
// (Documentation/power/powercap/powercap.rst). The control type has an invented
// name; the last part of a zone's folder is hexadecimal.
func addPowercap(d *Device, t *tree) {
	m := d.model
	root := "sys/devices/virtual/powercap/sim-power/"
	zone := fmt.Sprintf("sim-power:%x", d.cfg.PowercapZone)
	t.fixed(root+"enabled", "1")
	t.link("sys/class/powercap/sim-power", "sys/devices/virtual/powercap/sim-power")
	for _, z := range []struct {
		folder, name string
		joules       func() float64
	}{
		{zone, "package-0", func() float64 { return m.packageJ + m.leaptJ }},
		{zone + "/" + zone + ":0", "core", func() float64 { return m.cpuJ }},
		{zone + "/" + zone + ":1", "uncore", func() float64 { return m.gpuJ }},
	} {
		dir := root + z.folder + "/"
		t.fixed(dir+"name", z.name)
		t.fixed(dir+"enabled", "1")
		t.fixed(dir+"max_energy_range_uj", strconv.FormatUint(d.cfg.WrapMicroJ, 10))
		t.secret(dir+"energy_uj", func() int64 { return energyCount(z.joules(), d.cfg.WrapMicroJ) })
		t.link("sys/class/powercap/"+path.Base(z.folder), root+z.folder)
	}
	if d.cfg.Without&PartPowercapLimit == 0 {
		addConstraints(d, t, root+zone+"/constraint_")
	}
}

func addConstraints(d *Device, t *tree, prefix string) {
	limit := &d.model.limit
	t.fixed(prefix+"0_name", "long_term")
	t.number(prefix+"0_power_limit_uw", func() int64 { return micro(limit.settingW) }).setting(d.obeyWatts(1e6, 1, d.setAll))
	t.fixed(prefix+"0_time_window_us", "999424")
	t.fixed(prefix+"0_max_power_uw", strconv.FormatInt(micro(d.cfg.MaxW), 10))
	t.fixed(prefix+"1_name", "short_term")
	t.number(prefix+"1_power_limit_uw", func() int64 { return micro(limit.fastW) }).setting(d.obeyWatts(1e6, fastRatio, func(watts float64) error {
		return limit.writeOne(2, watts)
	}))
	t.fixed(prefix+"1_time_window_us", "2440")
	t.fixed(prefix+"1_max_power_uw", "") // seen on real devices
}

// energyCount is what a counter that wraps shows for an energy, uJ: after a
// decrease the difference is range - previous + current.
func energyCount(joules float64, wrap uint64) int64 {
	return int64(uint64(math.Floor(joules*1e6)) % wrap)
}
