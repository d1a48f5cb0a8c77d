package collectors

import (
	"path/filepath"
	"slices"
)

// readDisplay reads how bright the display is (Documentation/ABI/stable/sysfs-class-backlight).
// The rate at which it is refreshed is not in sysfs: debugfs has it, which is root's, and a
// display server, which need not be there.
func (f facts) readDisplay(roots Roots) {
	var shares []string
	for _, dir := range roots.backlights() {
		now, okNow := parseInt([]byte(staticText(dir, "actual_brightness")))
		most, okMost := parseInt([]byte(staticText(dir, "max_brightness")))
		if okNow && okMost && most > 0 && now >= 0 && now <= most {
			shares = append(shares, percentShare(float64(now)/float64(most)))
		}
	}
	f.set("display_brightness_ratio", distinct(shares))
}

// backlights lists the folders of class/backlight that count. One panel may be there
// several times; the kernel's document names the types in the order in which to choose.
func (r Roots) backlights() []string {
	class := r.sys("class", "backlight")
	names := slices.Sorted(slices.Values(folderNames(class)))
	for _, kind := range []string{"firmware", "platform", "raw"} {
		var dirs []string
		for _, name := range names {
			if dir := filepath.Join(class, name); staticText(dir, "type") == kind {
				dirs = append(dirs, dir)
			}
		}
		if len(dirs) > 0 {
			return dirs
		}
	}
	return nil
}

// readRadios reads which radios may send (Documentation/ABI/stable/sysfs-class-rfkill), and
// whether the wireless network is connected (operstate of
// Documentation/ABI/testing/sysfs-class-net).
func (f facts) readRadios(roots Roots) {
	class := roots.sys("class", "rfkill")
	states := map[string][]string{}
	for _, name := range slices.Sorted(slices.Values(folderNames(class))) {
		dir := filepath.Join(class, name)
		kind := staticText(dir, "type")
		if !slices.Contains(radioTypes, kind) {
			continue
		}
		states[kind] = append(states[kind], radioState(staticText(dir, "soft"), staticText(dir, "hard")))
	}
	for kind, list := range states {
		if slices.Contains(list, "on") { // one that is on draws, whatever others there are
			list = []string{"on"}
		}
		f.set("radio_"+kind, distinct(list))
	}
	var links []string
	net := roots.sys("class", "net")
	for _, name := range slices.Sorted(slices.Values(folderNames(net))) {
		if dir := filepath.Join(net, name); exists(filepath.Join(dir, "phy80211")) || exists(filepath.Join(dir, "wireless")) {
			links = append(links, staticText(dir, "operstate"))
		}
	}
	f.set("wlan_link", distinct(links))
}

// radioTypes are those of rfkill that draw enough to tell.
var radioTypes = []string{"wlan", "bluetooth", "wwan"}

func radioState(soft, hard string) string {
	switch {
	case hard == "1":
		return "off by its switch"
	case soft == "1":
		return "off"
	case soft == "0" && hard == "0":
		return "on"
	}
	return ""
}
