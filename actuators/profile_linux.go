package actuators

import (
	"errors"
	"path/filepath"
	"slices"
)

// profile sets the platform profile: that of each driver in
// class/platform-profile/*/profile (Documentation/ABI/testing/sysfs-class-platform-profile,
// kernel 6.14), where there are such, else firmware/acpi/platform_profile
// (Documentation/ABI/testing/sysfs-platform_profile), which speaks for all of them. Names
// are those that all drivers take; custom means that something else was set by hand, and
// the place that speaks for all does not take it back (the kernel's source, from memory).
type profile struct{ tree tree }

// NewProfile sets the platform profile below sysfs; "" means /sys.
func NewProfile(sys string) Actuator { return profile{tree(sys)} }

func (profile) Name() string { return profileName }
func (profile) Sets() string { return SetsSetting }

const customProfile = "custom"

// choices are the places, and the one that speaks for all alone if there is no other.
func (p profile) choices() (places []choice) {
	class := p.tree.path("class", "platform-profile")
	for _, driver := range numbered(class, "platform-profile-") {
		if path := filepath.Join(class, driver, "profile"); exists(path) {
			path = atDevice(path)
			places = append(places, choice{path, beside(path, "choices")})
		}
	}
	if path := p.tree.path("firmware", "acpi", "platform_profile"); len(places) == 0 && exists(path) {
		places = append(places, choice{path, path + "_choices"})
	}
	return places
}

// fixed says why the profile of a machine cannot be set and put back: custom is not taken
// by the place that speaks for all.
func (p profile) fixed(places []choice) string {
	for _, c := range places {
		if textOr(c.path) == customProfile && !slices.Contains(p.taken(c), customProfile) {
			return c.path + " has custom, which it does not take back: choose a profile by hand first"
		}
	}
	return ""
}

func (p profile) taken(c choice) []string {
	if c.path == p.tree.path("firmware", "acpi", "platform_profile") {
		return nil
	}
	return fieldsOf(c.list)
}

func (p profile) Offer() Offer {
	o := newOffer(p)
	places := p.choices()
	if len(places) == 0 {
		o.Missing = "no driver has a profile, neither " + p.tree.path("firmware", "acpi", "platform_profile") + " nor " + p.tree.path("class", "platform-profile")
		return o
	}
	offerChoices(&o, places)
	o.Choices = slices.DeleteFunc(o.Choices, func(name string) bool { return name == customProfile })
	if why := p.fixed(places); o.Missing == "" && why != "" {
		o.Writable, o.Needs = false, why
	}
	return o
}

func (p profile) Writes(v Value, within Limits) ([]Write, error) {
	places := p.choices()
	if len(places) == 0 {
		return nil, errors.New("no driver has a profile")
	}
	if why := p.fixed(places); why != "" {
		return nil, errors.New(why)
	}
	return setChoices(p.Name(), places, nameOf(v), within)
}

func (p profile) places() (list []string) {
	for _, c := range p.choices() {
		list = append(list, c.path)
	}
	return list
}
