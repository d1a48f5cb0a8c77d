package collectors

import (
	"encoding/hex"
	"fmt"
)

// systemUUID is the UUID in the system information (type 1) of SMBIOS tables, as Linux
// writes it in product_uuid; "" where there is none. A structure has a header of type,
// length and handle, and ends behind its strings with two zeros; the UUID stands at 8, its
// first three fields with the lowest byte first (DMTF DSP0134, 6.1.2, 6.1.3, 7.2, 7.2.1).
func systemUUID(tables []byte) string {
	const systemInformation, at, size = 1, 0x08, 16
	for len(tables) >= 4 {
		length := int(tables[1])
		if length < 4 || length > len(tables) {
			return ""
		}
		if tables[0] == systemInformation {
			if length < at+size {
				return ""
			}
			u := tables[at : at+size]
			return fmt.Sprintf("%02x%02x%02x%02x-%02x%02x-%02x%02x-%s-%s", u[3], u[2], u[1], u[0], u[5], u[4], u[7], u[6],
				hex.EncodeToString(u[8:10]), hex.EncodeToString(u[10:]))
		}
		end := length
		for end+1 < len(tables) && (tables[end] != 0 || tables[end+1] != 0) {
			end++
		}
		tables = tables[min(end+2, len(tables)):]
	}
	return ""
}
