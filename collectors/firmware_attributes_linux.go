package collectors

import (
	"path/filepath"
	"slices"
	"time"

	"sweepd/run"
)

// firmwareAttributes reads the sustained package power limit that firmware
// shows in class/firmware-attributes/*/attributes/ppt_pl1_spl
// (Documentation/ABI/testing/sysfs-class-firmware-attributes and the document
// of the "other mode" driver). Of the files there only current_value is needed.
type firmwareAttributes struct{ roots Roots }

// NewFirmwareAttributes finds the firmware's power limit.
func NewFirmwareAttributes(roots Roots) Collector { return firmwareAttributes{roots} }

func (firmwareAttributes) Name() string { return "firmware_attributes" }

const (
	// settingInterval is often enough for what people change by hand; drivers
	// ask the firmware at every read.
	settingInterval = time.Second
	sustainedLimit  = "ppt_pl1_spl"
)

// firmwareWatts: the unit is watts by convention, it is stated nowhere. More
// than 1000 W is not a limit of a portable machine but another unit or a mark.
// Common practice, no source.
var firmwareWatts = limits{scale: 1, low: 1, high: 1000, want: "whole watts from 1 to 1000"}

func (c firmwareAttributes) Scan() (offers []Offer, absences []Absence) {
	class := c.roots.sys("class", "firmware-attributes")
	drivers := folderNames(class)
	slices.Sort(drivers)
	var paths []string
	for _, driver := range drivers {
		if path := filepath.Join(class, driver, "attributes", sustainedLimit, "current_value"); exists(path) {
			paths = append(paths, path)
		}
	}
	if len(paths) == 0 {
		return nil, []Absence{{Collector: c.Name(), Source: filepath.Join(class, "*", "attributes", sustainedLimit),
			Why: "the firmware shows no power limit", Remedy: "declare the setting"}}
	}
	return []Offer{{
		Sensors:     []run.Sensor{{ID: run.PowerLimit, Instance: run.LimitFirmware, Unit: "watts", Source: paths[0], Resolution: 1}},
		MinInterval: settingInterval,
		Open:        func() (Probe, error) { return openFirstOf(paths, firmwareWatts, (*property).value) },
	}}, nil
}
