package collectors

import "testing"

// The example of DMTF DSP0134, 7.2.1: the UUID 00112233-4455-6677-8899-AABBCCDDEEFF is
// 33 22 11 00 55 44 77 66 88 99 AA BB CC DD EE FF in the table.
func TestSystemUUID(t *testing.T) {
	uuid := []byte{0x33, 0x22, 0x11, 0x00, 0x55, 0x44, 0x77, 0x66, 0x88, 0x99, 0xaa, 0xbb, 0xcc, 0xdd, 0xee, 0xff}
	firmware := append([]byte{0, 6, 0, 0, 1, 0}, "text\x00other\x00\x00"...)
	bare := []byte{127, 4, 2, 0, 0, 0}
	system := append(append([]byte{1, 27, 1, 0, 1, 2, 3, 4}, uuid...), 6, 5, 6)
	system = append(system, "maker\x00\x00"...)
	join := func(parts ...[]byte) (all []byte) {
		for _, p := range parts {
			all = append(all, p...)
		}
		return all
	}
	for name, c := range map[string]struct {
		tables []byte
		want   string
	}{
		"among others":        {join(firmware, bare, system, bare), "00112233-4455-6677-8899-aabbccddeeff"},
		"none":                {join(firmware, bare), ""},
		"of an older version": {[]byte{1, 8, 1, 0, 1, 2, 3, 4, 0, 0}, ""},
		"cut short":           {join(firmware, system[:12]), ""},
		"strings without end": {join(firmware[:9]), ""},
		"of no length":        {[]byte{0, 0, 0, 0, 0, 0}, ""},
		"empty":               {nil, ""},
	} {
		if got := systemUUID(c.tables); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}
