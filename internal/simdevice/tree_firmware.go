package simdevice

import (
	"math"
	"strconv"
)

// addFirmwareLimits adds the package power limits among the firmware attributes
// (Documentation/ABI/testing/sysfs-class-firmware-attributes), in whole watts.
func addFirmwareLimits(d *Device, t *tree) {
	dir := t.member("firmware-attributes", "sim-firmware", "virtual") + "/attributes/"
	for _, limit := range []struct {
		name, title string
		ratio       float64 // to the setting
	}{{"ppt_pl1_spl", "Sustained", 1}, {"ppt_pl2_sppt", "Slow", 1.1}, {"ppt_pl3_fppt", "Fast", 1.2}} {
		dir := dir + limit.name
		current := t.number(dir+"/current_value", func() int64 { return int64(math.Round(d.model.limit.settingW * limit.ratio)) })
		if limit.ratio == 1 {
			current.obey = d.obeyWatts(1)
		}
		if d.cfg.CurrentOnly {
			continue
		}
		t.fixed(dir+"/type", "integer")
		t.fixed(dir+"/display_name", limit.title+" package power limit")
		t.fixed(dir+"/display_name_language_code", "en_US.UTF-8")
		t.fixed(dir+"/min_value", wholeWatts(d.cfg.MinW))
		t.fixed(dir+"/max_value", wholeWatts(d.cfg.MaxW))
		t.fixed(dir+"/scalar_increment", "1")
		t.fixed(dir+"/default_value", wholeWatts(d.cfg.SettingW))
	}
	t.fixed(dir+"pending_reboot", "0")
}

func wholeWatts(w float64) string { return strconv.Itoa(int(math.Round(w))) }

// obeyWatts sets the power limit to what was written in units of 1/perWatt W, if
// that lies in the range that the firmware states.
func (d *Device) obeyWatts(perWatt float64) func(text string) {
	return func(text string) {
		v, err := strconv.ParseFloat(text, 64)
		if watts := v / perWatt; err == nil && watts >= d.cfg.MinW && watts <= d.cfg.MaxW {
			d.model.limit.setWatts(watts)
		}
	}
}

// addPlatformProfile adds the platform profile, both in the old and in the new
// place (sysfs-platform_profile, sysfs-class-platform-profile).
func addPlatformProfile(d *Device, t *tree) {
	profile := func(path string) {
		t.word(path, func() string { return d.model.limit.profile }).obey = func(text string) {
			_ = d.model.limit.choose(text) // an unknown one is put back
		}
	}
	profile("sys/firmware/acpi/platform_profile")
	t.fixed("sys/firmware/acpi/platform_profile_choices", profileNames())
	dir := t.member("platform-profile", "platform-profile-0", "virtual") + "/"
	t.fixed(dir+"name", "sim-firmware")
	t.fixed(dir+"choices", profileNames()+" custom")
	profile(dir + "profile")
}
