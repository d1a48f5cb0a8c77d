package actuators

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"

	"sweepd/run"
)

// cores sets how many processors are online, devices/system/cpu/cpuN/online
// (Documentation/core-api/cpu_hotplug.rst). They are counted as the kernel counts them:
// logical ones, so that a core with two threads is two. Those that stay are the first by
// number, with the siblings of each core beside it where the kernel tells which these are;
// the first processor mostly has no such file and stays online always. Where cores are of
// different kinds it takes what the numbers say: look which ones the list names.
type cores struct {
	tree tree
	// siblings remembers the core of each processor, which the kernel does not tell of those
	// that are offline.
	mu       sync.Mutex
	siblings map[int]string
}

// NewCores sets how many processors are online below sysfs; "" means /sys.
func NewCores(sys string) Actuator { return &cores{tree: tree(sys), siblings: map[int]string{}} }

func (*cores) Name() string { return "cores" }
func (*cores) Sets() string { return SetsCores }

// cpu is a logical processor.
type cpu struct {
	number int
	path   string // of its file online; "" where it cannot go offline
	online bool
	text   string
}

// cpus are the processors in the order in which they stay online.
func (c *cores) cpus() (list []cpu, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	dir := c.tree.path("devices", "system", "cpu")
	for _, name := range numbered(dir, "cpu") {
		n, _ := strconv.Atoi(strings.TrimPrefix(name, "cpu"))
		p := cpu{number: n, path: filepath.Join(dir, name, "online"), online: true}
		if !exists(p.path) {
			p.path = ""
		} else if p.text, err = text(p.path); err != nil {
			return nil, err
		} else {
			p.online = p.text == "1"
		}
		topology := filepath.Join(dir, name, "topology")
		if id := textOr(filepath.Join(topology, "core_id")); id != "" {
			c.siblings[n] = textOr(filepath.Join(topology, "physical_package_id")) + " " + id
		}
		list = append(list, p)
	}
	first := map[string]int{} // processor of each core
	for _, p := range list {
		core, known := c.siblings[p.number]
		if least, seen := first[core]; known && (!seen || p.number < least) {
			first[core] = p.number
		}
	}
	place := func(p cpu) int {
		if core, known := c.siblings[p.number]; known {
			return first[core]
		}
		return p.number
	}
	slices.SortFunc(list, func(a, b cpu) int {
		fixed := func(p cpu) int {
			if p.path == "" {
				return 0
			}
			return 1
		}
		return cmp.Or(fixed(a)-fixed(b), place(a)-place(b), a.number-b.number)
	})
	return list, nil
}

func (c *cores) Offer() Offer {
	o := newOffer(c)
	o.Unit = "cores"
	list, err := c.cpus()
	least, online, most, step := 0.0, 0, float64(len(list)), 1.0
	for _, p := range list {
		if p.path == "" {
			least++
		} else {
			o.Sources = append(o.Sources, p.path)
		}
		if p.online {
			online++
		}
	}
	switch {
	case err != nil:
		o.Missing = err.Error()
		return o
	case len(o.Sources) == 0:
		o.Missing = "no processor can go offline: there is no " + c.tree.path("devices", "system", "cpu", "cpu*", "online")
		return o
	}
	least = max(least, 1)
	o.Min, o.Max, o.Increment = &least, &most, &step
	o.Now = strconv.Itoa(online)
	o.Writable, o.Needs = writable(o.Sources...)
	return o
}

func (c *cores) Writes(v Value, within Limits) ([]Write, error) {
	n, err := run.ParseNumber(v.Text)
	if err != nil || n != math.Trunc(n) {
		return nil, fmt.Errorf("%q is no number of processors: give a whole one, such as 6", run.Shorten(v.Text))
	}
	list, err := c.cpus()
	if err != nil {
		return nil, fmt.Errorf("which processors are online cannot be read: %w", err)
	}
	fixed := 0
	for _, p := range list {
		if p.path == "" {
			fixed++
		}
	}
	switch {
	case fixed == len(list): // or none at all
		return nil, errors.New("no processor can go offline")
	case n < float64(max(fixed, 1)) || n > float64(len(list)):
		return nil, fmt.Errorf("%s processors do not go: this machine has %d, of which %d cannot go offline (logical ones: a core with two threads is two)", v.Text, len(list), fixed)
	case within.Min != nil && n < *within.Min:
		return nil, fmt.Errorf("%s is below the least that the configuration allows, %s", v.Text, plain(*within.Min))
	case within.Max != nil && n > *within.Max:
		return nil, fmt.Errorf("%s is above the most that the configuration allows, %s", v.Text, plain(*within.Max))
	}
	// Some go online before others go offline, so that there are never fewer than before
	// and than wanted.
	var on, off []Write
	for i, p := range list {
		switch stays := i < int(n); {
		case stays && !p.online:
			on = append(on, Write{Actuator: c.Name(), Path: p.path, Text: "1", Was: p.text})
		case !stays && p.online:
			off = append(off, Write{Actuator: c.Name(), Path: p.path, Text: "0", Was: p.text})
		}
	}
	slices.Reverse(off)
	return append(on, off...), nil
}
