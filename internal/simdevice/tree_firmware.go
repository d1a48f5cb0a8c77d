package simdevice

import (
	"math"
	"strconv"
	"syscall"
)

// addFirmwareLimits adds the package power limits among the firmware attributes
// (Documentation/ABI/testing/sysfs-class-firmware-attributes), in whole watts.
func addFirmwareLimits(d *Device, t *tree) {
	dir := t.member("firmware-attributes", "sim-firmware", "virtual") + "/attributes/"
	l := &d.model.limit
	for which, limit := range []struct {
		name, title string
		watts       *float64
		ratio       float64 // of its highest value to that of the first
	}{{"ppt_pl1_spl", "Sustained", &l.settingW, 1}, {"ppt_pl2_sppt", "Slow", &l.slowW, slowRatio}, {"ppt_pl3_fppt", "Fast", &l.fastW, fastRatio}} {
		dir := dir + limit.name
		t.number(dir+"/current_value", func() int64 { return int64(math.Round(*limit.watts)) }).setting(d.obeyWatts(1, limit.ratio, func(watts float64) error {
			return l.writeOne(which, watts)
		}))
		if d.cfg.CurrentOnly {
			continue
		}
		t.fixed(dir+"/type", "integer")
		t.fixed(dir+"/display_name", limit.title+" package power limit")
		t.fixed(dir+"/display_name_language_code", "en_US.UTF-8")
		t.fixed(dir+"/min_value", wholeWatts(d.cfg.MinW))
		t.fixed(dir+"/max_value", wholeWatts(d.cfg.MaxW*limit.ratio))
		t.fixed(dir+"/scalar_increment", "1")
		t.fixed(dir+"/default_value", wholeWatts(d.cfg.SettingW*limit.ratio))
	}
	t.fixed(dir+"pending_reboot", "0")
}

func wholeWatts(w float64) string { return strconv.Itoa(int(math.Round(w))) }

// obeyWatts sets a limit to what was written in units of 1/perWatt W, if that lies in the
// range that is stated for it: up to ratio times the firmware's highest.
func (d *Device) obeyWatts(perWatt, ratio float64, set func(watts float64) error) func(text string) error {
	return func(text string) error {
		v, err := strconv.ParseInt(text, 10, 64)
		if watts := float64(v) / perWatt; err != nil || watts < d.cfg.MinW || watts > math.Round(d.cfg.MaxW*ratio) {
			return syscall.EINVAL
		} else if set(watts) != nil {
			return syscall.EINVAL
		}
		return nil
	}
}

// setAll sets the limit and with it those above it.
func (d *Device) setAll(watts float64) error {
	d.model.limit.setWatts(watts)
	return nil
}

// addPlatformProfile adds the platform profile, both in the old and in the new
// place (sysfs-platform_profile, sysfs-class-platform-profile). The old one shows custom and
// does not take it (drivers/acpi/platform_profile.c of Linux 6.14, from memory).
func addPlatformProfile(d *Device, t *tree) {
	profile := func(path string, custom bool) {
		t.word(path, func() string { return d.model.limit.profile }).setting(func(text string) error {
			if !custom && text == customProfile || d.model.limit.choose(text) != nil {
				return syscall.EINVAL
			}
			return nil
		})
	}
	profile("sys/firmware/acpi/platform_profile", false)
	t.fixed("sys/firmware/acpi/platform_profile_choices", profileNames())
	dir := t.member("platform-profile", "platform-profile-0", "virtual") + "/"
	t.fixed(dir+"name", "sim-firmware")
	t.fixed(dir+"choices", profileNames()+" custom")
	profile(dir+"profile", true)
}
