package simdevice

import (
	"math"
	"strconv"
)

// firmwareFiles are the package power limits among the firmware attributes
// (Documentation/ABI/testing/sysfs-class-firmware-attributes), in whole watts.
type firmwareFiles struct{ limits [3]*file }

func newFirmwareFiles(d *Device, t *tree) part {
	f := &firmwareFiles{}
	dir := t.member("firmware-attributes", "sim-firmware", "virtual") + "/attributes/"
	for i, name := range [3]string{"ppt_pl1_spl", "ppt_pl2_sppt", "ppt_pl3_fppt"} {
		f.limits[i] = t.live(dir+name+"/current_value", "0")
		if d.cfg.CurrentOnly {
			continue
		}
		t.fixed(dir+name+"/type", "integer")
		t.fixed(dir+name+"/display_name", [3]string{"Sustained", "Slow", "Fast"}[i]+" package power limit")
		t.fixed(dir+name+"/display_name_language_code", "en_US.UTF-8")
		t.fixed(dir+name+"/min_value", wholeWatts(d.cfg.MinW))
		t.fixed(dir+name+"/max_value", wholeWatts(d.cfg.MaxW))
		t.fixed(dir+name+"/scalar_increment", "1")
		t.fixed(dir+name+"/default_value", wholeWatts(d.cfg.SettingW))
	}
	t.fixed(dir+"pending_reboot", "0")
	return f
}

func wholeWatts(w float64) string { return strconv.Itoa(int(math.Round(w))) }

func (f *firmwareFiles) applyWrites(d *Device, t *tree) { applyWattsWritten(d, t, f.limits[0], 1) }

func (f *firmwareFiles) flush(d *Device, t *tree) {
	w := d.model.limit.settingW
	t.putInt(f.limits[0], int64(math.Round(w)))
	t.putInt(f.limits[1], int64(math.Round(w*1.1)))
	t.putInt(f.limits[2], int64(math.Round(w*1.2)))
}

// profileFiles show the platform profile, both in the old and in the new place
// (sysfs-platform_profile, sysfs-class-platform-profile).
type profileFiles struct{ old, new *file }

func newProfileFiles(d *Device, t *tree) part {
	f := &profileFiles{}
	f.old = t.live("sys/firmware/acpi/platform_profile", d.model.limit.profile)
	t.fixed("sys/firmware/acpi/platform_profile_choices", profileNames())
	dir := t.member("platform-profile", "platform-profile-0", "virtual") + "/"
	t.fixed(dir+"name", "sim-firmware")
	t.fixed(dir+"choices", profileNames()+" custom")
	f.new = t.live(dir+"profile", d.model.limit.profile)
	return f
}

func (f *profileFiles) applyWrites(d *Device, t *tree) {
	for _, file := range [2]*file{f.old, f.new} {
		text, ok := t.written(file)
		if !ok {
			continue
		}
		if !d.cfg.IgnoreWrites {
			_ = d.model.limit.choose(text) // an unknown one is put back
		}
		t.restore(file)
	}
}

func (f *profileFiles) flush(d *Device, t *tree) {
	t.putText(f.old, d.model.limit.profile)
	t.putText(f.new, d.model.limit.profile)
}
