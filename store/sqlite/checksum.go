package sqlite

import (
	"database/sql"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"
)

// castagnoli is the polynomial of CRC-32C (RFC 3720, appendix B.4).
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// summer computes checksums of rows: CRC-32C over their values in the order in which
// they are read. References to other rows by a number that is local to the file go in as
// what they refer to, so that a copy in another file has the same checksum.
type summer struct{ buf []byte }

// add goes on from a checksum, 0 at first, with the values of the next row, as they are
// written or as they were scanned.
func (s *summer) add(sum uint32, values ...any) uint32 {
	s.buf = s.buf[:0]
	for _, v := range values {
		s.buf = appendValue(s.buf, v)
	}
	return crc32.Update(sum, castagnoli, s.buf)
}

// addRow begins a checksum with a row of `runs`, see rowValues.
func (s *summer) addRow(values, added []any) uint32 { return s.addNewer(s.add(0, values...), added...) }

// addNewer goes on with the values of columns that version 3 added. Where all are NULL, as
// in a row that an older version stored, the checksum stays.
func (s *summer) addNewer(sum uint32, values ...any) uint32 {
	for _, v := range values {
		if s.buf = appendValue(s.buf[:0], v); s.buf[0] != sumNull {
			return s.add(sum, values...)
		}
	}
	return sum
}

// What comes before a value, so that no two lists of values look the same.
const (
	sumNull = iota
	sumInteger
	sumReal
	sumText
	sumBytes // no column has any: only what is damaged
)

func appendValue(b []byte, v any) []byte {
	switch x := v.(type) {
	case nil:
		return append(b, sumNull)
	case int64:
		return binary.BigEndian.AppendUint64(append(b, sumInteger), uint64(x))
	case int:
		return appendValue(b, int64(x))
	case float64:
		return binary.BigEndian.AppendUint64(append(b, sumReal), math.Float64bits(x+0)) // -0, which SQLite keeps as 0
	case string:
		return append(binary.AppendUvarint(append(b, sumText), uint64(len(x))), x...)
	case []byte:
		return append(binary.AppendUvarint(append(b, sumBytes), uint64(len(x))), x...)
	case *int64:
		return appendValue(b, *x)
	case *float64:
		return appendValue(b, *x)
	case **float64:
		return appendValue(b, number(*x))
	case *string:
		return appendValue(b, *x)
	case *sql.NullString:
		return appendValue(b, orNull(x.String, x.Valid))
	case *sql.NullInt64:
		return appendValue(b, orNull(x.Int64, x.Valid))
	}
	panic(fmt.Sprintf("checksum of a %T", v)) // a slip: columns have no other types
}

func orNull(v any, valid bool) any {
	if !valid {
		return nil
	}
	return v
}
