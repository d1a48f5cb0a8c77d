package run

import (
	"strings"
	"testing"
)

func TestWhichMachinesDiffer(t *testing.T) {
	oak := map[string]string{"host_model": "Oak 7", "host_board": "OK-1", "cpu_model": "Core Nine", "architecture": "x86_64",
		FactHardwareID: "aaaa", FactSystemID: "1111", "memory_total_bytes": "16", "firmware_version": "1.0", "kernel_version": "6.1", "battery_full_wh": "48"}
	with := func(pairs ...string) map[string]string {
		m := map[string]string{}
		for k, v := range oak {
			m[k] = v
		}
		for i := 0; i < len(pairs); i += 2 {
			m[pairs[i]] = pairs[i+1]
		}
		return m
	}
	for _, c := range []struct {
		name  string
		facts map[string]string
		why   string // "": the same
	}{
		{"itself", oak, ""},
		{"with another firmware, kernel, more memory and another battery", with("firmware_version", "2.0", "kernel_version", "6.9", "memory_total_bytes", "32", "battery_full_wh", "60"), ""},
		{"installed anew, by an agent of root", with(FactSystemID, "2222"), ""},
		{"under an agent that may not read its firmware's id", with(FactHardwareID, ""), ""},
		{"under its other system", with(FactHardwareID, "", FactSystemID, ""), ""},
		{"of which nothing is known", map[string]string{}, ""},
		{"another unit", with(FactHardwareID, "bbbb", FactSystemID, "2222"), "their firmware has different ids"},
		{"another unit with a copy of the system", with(FactHardwareID, "bbbb"), "their firmware has different ids"},
		{"another unit, by no agent of root", with(FactHardwareID, "", FactSystemID, "2222"), "their systems have different ids"},
		{"another model", with(FactHardwareID, "", FactSystemID, "", "host_model", "Elm 3"), "their models differ: Oak 7 and Elm 3"},
		{"another board", with(FactHardwareID, "", "host_board", "OK-2"), "their main boards differ"},
		{"another processor", with(FactHardwareID, "", "host_model", "", "cpu_model", "Core Ten"), "their processors differ"},
	} {
		a, b := MachineOf(oak), MachineOf(c.facts)
		why := a.Differs(b)
		if !strings.Contains(why, c.why) || (why == "") != (c.why == "") {
			t.Errorf("%s: %q, want %q", c.name, why, c.why)
		}
		if back := b.Differs(a); (back == "") != (why == "") {
			t.Errorf("%s: the other way round %q", c.name, back)
		}
		var list Machines
		list.Add(a)
		list.Add(b)
		if many := len(list) > 1; many != (c.why != "") {
			t.Errorf("%s: %d machines", c.name, len(list))
		}
	}
	if why := (Machines{}).Other(MachineOf(oak)); why != "" {
		t.Errorf("other than none: %q", why)
	}
}
