package collectors

import (
	"os"
	"path/filepath"
	"strings"

	"sweepd/run"
)

// drm finds graphics processors, class/drm/cardN, and reads their load, clock
// and sensor chip. Files after the kernel's GPU power-management document.
//
// Where the chip reports a voltage of the northbridge (in1), the GPU sits in
// one package with the CPU and its power is that of the whole package: it is
// offered as PackagePower with the instance "gpu".
type drm struct{ roots Roots }

// NewDRM finds graphics processors.
func NewDRM(roots Roots) Collector { return drm{roots} }

func (drm) Name() string { return "drm" }

func (d drm) Scan() (offers []Offer, absences []Absence) {
	cards := d.roots.graphicsCards()
	if len(cards) == 0 {
		return nil, []Absence{{Collector: d.Name(), Source: d.roots.sys("class", "drm", "card*"), Why: "no such driver"}}
	}
	packageCard, limitCard := soleCards(cards)
	for i, card := range cards {
		found := card.offers(i == packageCard, i == limitCard)
		offers = append(offers, found...)
		for _, expected := range []struct{ id, source, why string }{
			{run.GPUBusy, filepath.Join(card.device, "gpu_busy_percent"), "this driver does not report the load"},
			{run.GPUFrequency, filepath.Join(card.device, "pp_dpm_sclk"), "this driver does not report the clock"},
			{run.GPUPower, filepath.Join(card.device, "hwmon", "hwmon*", "power1_average"), "this driver does not report the power"},
		} {
			if !offered(found, expected.id) && !(expected.id == run.GPUPower && offered(found, run.PackagePower)) {
				absences = append(absences, Absence{Collector: d.Name(), Source: expected.source, Why: expected.why})
			}
		}
	}
	return offers, absences
}

func offered(offers []Offer, id string) bool {
	for _, o := range offers {
		if o.Sensors[0].ID == id {
			return true
		}
	}
	return false
}

// soleCards picks the card whose power is the package's and the card whose cap
// is the machine's GPU limit: the integrated one before others, -1 for none.
// Each is reported under one instance, which only one card can have.
func soleCards(cards []graphicsCard) (packageCard, limitCard int) {
	packageCard, limitCard = -1, -1
	for i, c := range cards {
		if c.integrated() && packageCard < 0 {
			packageCard = i
		}
		if c.cap != "" && (limitCard < 0 || c.integrated() && !cards[limitCard].integrated()) {
			limitCard = i
		}
	}
	return packageCard, limitCard
}

// graphicsCard is one cardN.
type graphicsCard struct {
	dir    string // class/drm/cardN
	device string // its device folder
	name   string // the driver's name, made unique among the cards
	chip   hwmonChip
	cap    string // path of power1_cap, empty where there is none
	guards []guardedBy
}

// graphicsCards lists the cards with a device, in the order of their addresses
// so that the choice among them does not depend on the order of arrival.
func (r Roots) graphicsCards() []graphicsCard {
	class := r.sys("class", "drm")
	var cards []graphicsCard
	var names []namedFolder
	for _, number := range numbered(class, "card") {
		card := graphicsCard{dir: filepath.Join(class, number), device: filepath.Join(class, number, "device")}
		if !exists(card.device) {
			continue
		}
		card.readChip(r)
		if staticText(card.device, "power", "control") == "auto" {
			card.guards = []guardedBy{{path: filepath.Join(card.device, "power", "runtime_status"), forbidden: "suspended",
				want: "active: the GPU sleeps, and reading would wake it"}}
		}
		cards = append(cards, card)
		names = append(names, namedFolder{dir: card.dir, name: linkName(card.device, "driver"), address: r.cardAddress(card)})
		if last := &names[len(names)-1]; last.name == "" && last.address == "" {
			last.name = number
		}
	}
	for i, name := range uniqueNames(names) {
		cards[i].name = name
	}
	return cards
}

func (c *graphicsCard) readChip(r Roots) {
	dirs := numbered(filepath.Join(c.device, "hwmon"), "hwmon")
	if len(dirs) == 0 {
		return
	}
	c.chip = r.hwmonChip(filepath.Join(c.device, "hwmon", dirs[0]))
	if path := filepath.Join(c.chip.dir, "power1_cap"); exists(path) {
		c.cap = path
	}
}

// integrated tells whether CPU and GPU share the package.
func (c graphicsCard) integrated() bool {
	_, ok := c.chip.channel("in1")
	return ok
}

// cardAddress is the card's address on its bus. A copied tree may have it in
// the device's uevent only.
func (r Roots) cardAddress(c graphicsCard) string {
	if address := r.deviceAddress(c.device); address != "" {
		return address
	}
	return ueventValue(c.device, "PCI_SLOT_NAME")
}

// graphicsHwmon is the set of sensor chips that this collector reads, by their
// real paths.
func (r Roots) graphicsHwmon() map[string]bool {
	taken := map[string]bool{}
	class := r.sys("class", "drm")
	for _, card := range numbered(class, "card") {
		chips := filepath.Join(class, card, "device", "hwmon")
		if dirs := numbered(chips, "hwmon"); len(dirs) > 0 {
			if real, err := realPath(filepath.Join(chips, dirs[0])); err == nil {
				taken[real] = true
			}
		}
	}
	return taken
}

// linkName is the last part of what a link points to, whether that exists or
// not.
func linkName(elem ...string) string {
	target, err := os.Readlink(filepath.Join(elem...))
	if err != nil {
		return ""
	}
	return filepath.Base(target)
}

// offers lists the card's sensors.
func (c graphicsCard) offers(packagePower, limit bool) []Offer {
	var offers []Offer
	if path := filepath.Join(c.device, "gpu_busy_percent"); exists(path) {
		offers = append(offers, c.offer(run.Sensor{ID: run.GPUBusy, Unit: "ratio", Source: path, Resolution: 0.01},
			bound{0, 1, "0 to 100 %"}.in(0.01, "an integer (percent)")))
	}
	offers = append(offers, c.clock()...)
	for _, channel := range c.chip.channels {
		if channel.off == "" {
			offers = append(offers, c.channel(channel, packagePower))
		}
	}
	if c.cap != "" {
		s := run.Sensor{ID: run.PowerLimit, Unit: "watts", Source: c.cap, Resolution: 1e-6}
		o := c.offer(s, bound{1e-6, believedLimit.high, "0 (exclusive) to 10000 W"}.in(1e-6, "an integer (microwatts)"))
		o.Sensors[0].Instance = run.LimitGPU
		if !limit {
			o.Sensors[0].Instance += " " + c.name
		}
		offers = append(offers, o)
	}
	return offers
}

// offer offers one file of the card as a gauge with the card's name.
func (c graphicsCard) offer(s run.Sensor, l limits) Offer {
	s.Instance = c.name
	return Offer{Sensors: []run.Sensor{s}, Open: openGuarded(guardedSource{inputs: []string{s.Source}, guards: c.guards, limits: l})}
}

// channel offers a channel of the card's sensor chip. The first power, energy
// and clock are the GPU's own.
func (c graphicsCard) channel(channel hwmonChannel, packagePower bool) Offer {
	ids := map[string]string{"power1": run.GPUPower, "energy1": run.GPUEnergy, "freq1": run.GPUFrequency}
	id, own := ids[channel.name]
	if !own {
		return channel.offer(c.name, channel.kind.id, c.guards)
	}
	instance := c.name
	if packagePower {
		switch id {
		case run.GPUPower:
			id, instance = run.PackagePower, "gpu"
		case run.GPUEnergy:
			id, instance = run.PackageEnergy, "gpu"
		}
	}
	o := channel.offer(c.name, id, c.guards)
	o.Sensors[0].Instance = instance
	return o
}

// ueventValue is the value of a KEY=value line of a device's uevent file.
func ueventValue(device, key string) string {
	for _, line := range staticLines(device, "uevent") {
		if value, ok := strings.CutPrefix(line, key+"="); ok {
			return value
		}
	}
	return ""
}
