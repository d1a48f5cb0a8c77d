package collectors

import (
	"cmp"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"sweepd/run"
)

// hwmonChip is one folder of class/hwmon and the channels below it.
type hwmonChip struct {
	dir      string
	name     string // as the driver calls it
	address  string // see Roots.deviceAddress
	channels []hwmonChannel
}

// hwmonChannel is what the files tempN_*, fanN_*, ... of one number say.
type hwmonChannel struct {
	kind   *hwmonKind
	name   string // "temp1"
	number int
	label  string   // the driver's, made unique in the chip; the name where it has none
	inputs []string // paths, the preferred one first
	fault  string   // path, empty where the driver has none
	off    string   // path of the switch that has it disabled; else empty
	slow   time.Duration
}

// hwmonChip reads what a chip's folder offers. Old drivers keep name and
// channels in the device's folder.
func (r Roots) hwmonChip(dir string) hwmonChip {
	device := filepath.Join(dir, "device")
	chip := hwmonChip{dir: dir, name: staticText(dir, "name"), address: r.deviceAddress(device)}
	if chip.name == "" {
		chip.name = staticText(device, "name")
	}
	chip.channels = hwmonChannels(dir)
	if len(chip.channels) == 0 {
		chip.channels = hwmonChannels(device)
	}
	if asksTheDrive(chip.name) {
		for i := range chip.channels {
			chip.channels[i].slow = time.Second
		}
	}
	return chip
}

// asksTheDrive names the drivers that send a command to the drive for each
// reading.
func asksTheDrive(name string) bool { return name == "nvme" || name == "drivetemp" }

func folders(chips []hwmonChip) []namedFolder {
	out := make([]namedFolder, len(chips))
	for i, c := range chips {
		out[i] = namedFolder{dir: c.dir, name: c.name, address: c.address}
	}
	return out
}

// hasOnly tells whether all channels have the prefix.
func (c hwmonChip) hasOnly(prefix string) bool {
	return !slices.ContainsFunc(c.channels, func(ch hwmonChannel) bool { return ch.kind.prefix != prefix })
}

// channel finds a channel by name.
func (c hwmonChip) channel(name string) (hwmonChannel, bool) {
	i := slices.IndexFunc(c.channels, func(ch hwmonChannel) bool { return ch.name == name })
	if i < 0 {
		return hwmonChannel{}, false
	}
	return c.channels[i], true
}

// hwmonChannels lists the channels whose files lie in dir, in the order of their
// prefixes and numbers.
func hwmonChannels(dir string) []hwmonChannel {
	files := map[string]bool{}
	for _, name := range folderNames(dir) {
		files[name] = true
	}
	var channels []hwmonChannel
	for k := range hwmonKinds {
		kind := &hwmonKinds[k]
		for name, number := range channelNames(files, kind) {
			channels = append(channels, newHwmonChannel(dir, files, kind, name, number))
		}
	}
	slices.SortFunc(channels, func(a, b hwmonChannel) int {
		return cmp.Or(strings.Compare(a.kind.prefix, b.kind.prefix), cmp.Compare(a.number, b.number))
	})
	labelChannels(channels)
	return channels
}

// channelNames finds "temp1" and its number in the file name "temp1_input".
func channelNames(files map[string]bool, kind *hwmonKind) map[string]int {
	found := map[string]int{}
	for file := range files {
		name, suffix, _ := strings.Cut(file, "_")
		digits, ok := strings.CutPrefix(name, kind.prefix)
		if !ok || !slices.Contains(kind.inputs, suffix) {
			continue
		}
		if number, err := strconv.Atoi(digits); err == nil && number >= 0 {
			found[name] = number
		}
	}
	return found
}

func newHwmonChannel(dir string, files map[string]bool, kind *hwmonKind, name string, number int) hwmonChannel {
	c := hwmonChannel{kind: kind, name: name, number: number, slow: kind.interval}
	for _, suffix := range kind.inputs {
		if files[name+"_"+suffix] {
			c.inputs = append(c.inputs, filepath.Join(dir, name+"_"+suffix))
		}
	}
	if files[name+"_fault"] {
		c.fault = filepath.Join(dir, name+"_fault")
	}
	// While it is 0, reading the channel fails with ENODATA.
	if files[name+"_enable"] && staticText(dir, name+"_enable") == "0" {
		c.off = filepath.Join(dir, name+"_enable")
	}
	if files[name+"_label"] {
		c.label = staticText(dir, name+"_label")
	}
	return c
}

// labelChannels names the channels without a label by their number, and adds
// it where the driver gives one label to several channels of a kind.
func labelChannels(channels []hwmonChannel) {
	count := map[string]int{}
	for i := range channels {
		if channels[i].label == "" {
			channels[i].label = channels[i].name
		}
		count[channels[i].kind.id+channels[i].label]++
	}
	for i := range channels {
		c := &channels[i]
		if count[c.kind.id+c.label] > 1 && c.label != c.name {
			c.label += " " + c.name
		}
	}
}

// offer offers the channel as a sensor with the given id, of the chip called
// chip, guarded by its fault file and whatever else guards it.
func (c hwmonChannel) offer(chip, id string, guards []guardedBy) Offer {
	if c.fault != "" {
		guards = append(slices.Clone(guards), guardedBy{path: c.fault, forbidden: "1", want: "0: the chip reports this sensor as faulty"})
	}
	return Offer{
		Sensors: []run.Sensor{{ID: id, Instance: chip + "/" + c.label, Unit: c.kind.unit, Kind: c.kind.kind,
			Source: c.inputs[0], Resolution: c.kind.resolution}},
		MinInterval: c.slow,
		Open: openGuarded(guardedSource{inputs: c.inputs, guards: guards, limits: c.kind.limits,
			counter: c.kind.kind == run.Counter}),
	}
}

func (c hwmonChannel) switchedOff(collector string) Absence {
	return Absence{Collector: collector, Source: c.inputs[0], Why: "the sensor is switched off", Remedy: "write 1 to " + c.off}
}
