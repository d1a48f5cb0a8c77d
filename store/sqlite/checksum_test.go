package sqlite

import (
	"database/sql"
	"hash/crc32"
	"math"
	"testing"
)

// The check value of CRC-32C: RFC 3720, B.4 gives the polynomial, and the catalogue of
// parametrised CRC algorithms (reveng.sourceforge.io) "check" of CRC-32/ISCSI; both from
// memory. B.4's example of 32 bytes of zeroes has the CRC AA 36 91 8A.
func TestChecksumIsCRC32C(t *testing.T) {
	if got := crc32.Checksum([]byte("123456789"), castagnoli); got != 0xe3069283 {
		t.Errorf("check value %#x", got)
	}
	if got := crc32.Checksum(make([]byte, 32), castagnoli); got != 0x8a9136aa {
		t.Errorf("of 32 zeroes %#x", got)
	}
}

// What is scanned has the checksum of what was written, and other values have another.
func TestChecksumsOfValues(t *testing.T) {
	var s summer
	watts, none, name, n := new(12.5), (*float64)(nil), "quiet", int64(7)
	for _, c := range []struct{ written, scanned any }{
		{nil, &none}, {12.5, &watts}, {12.5, watts}, {math.Copysign(0, -1), new(0.0)}, {"quiet", &name}, {int64(7), &n}, {7, &n},
		{nil, &sql.NullString{}}, {"", &sql.NullString{Valid: true}}, {"quiet", &sql.NullString{String: name, Valid: true}},
		{nil, &sql.NullInt64{}}, {7, &sql.NullInt64{Int64: 7, Valid: true}},
	} {
		if a, b := s.add(1, "x", c.written), s.add(1, "x", c.scanned); a != b {
			t.Errorf("%v: written %#x, scanned %#x", c.written, a, b)
		}
	}
	seen := map[uint32]int{}
	for i, values := range [][]any{{}, {nil}, {nil, nil}, {0}, {1}, {0.0}, {1.0}, {""}, {[]byte{}}, {"", ""}, {"ab", "c"}, {"a", "bc"}, {"abc"}, {"abc", nil}} {
		sum := s.add(0, values...)
		if before, there := seen[sum]; there {
			t.Errorf("values %d and %d have the checksum %#x", before, i, sum)
		}
		seen[sum] = i
	}
}
