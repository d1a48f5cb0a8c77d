package collectors

import (
	"encoding/binary"
	"unsafe"

	"golang.org/x/sys/windows"
)

// systemID is empty: the hardware's id is there for every user.
func (r Roots) systemID() string { return "" }

var getSystemFirmwareTable = windows.NewLazySystemDLL("kernel32.dll").NewProc("GetSystemFirmwareTable")

// rawSMBIOS is the signature of the provider of the SMBIOS tables, 'RSMB'.
const rawSMBIOS = 0x52534d42

// hardwareID hides the machine's own id in its firmware, which GetSystemFirmwareTable
// (sysinfoapi.h) gives to every user.
func (r Roots) hardwareID() string {
	if getSystemFirmwareTable.Find() != nil {
		return ""
	}
	size, _, _ := getSystemFirmwareTable.Call(rawSMBIOS, 0, 0, 0)
	if size < 8 || size > 1<<20 {
		return ""
	}
	raw := make([]byte, size)
	n, _, _ := getSystemFirmwareTable.Call(rawSMBIOS, 0, uintptr(unsafe.Pointer(&raw[0])), size)
	if n < 8 || n > size {
		return ""
	}
	return hiddenID(systemUUID(raw[8:min(int(n), 8+int(binary.LittleEndian.Uint32(raw[4:])))]))
}
