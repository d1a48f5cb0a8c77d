package collectors

import (
	"encoding/binary"
	"unsafe"

	"golang.org/x/sys/windows"
)

var (
	enumDisplaySettings = windows.NewLazySystemDLL("user32.dll").NewProc("EnumDisplaySettingsW")

	getActiveScheme = windows.NewLazySystemDLL("powrprof.dll").NewProc("PowerGetActiveScheme")
	modeOnMains     = windows.NewLazySystemDLL("powrprof.dll").NewProc("PowerGetUserConfiguredACPowerMode")
	modeOnBattery   = windows.NewLazySystemDLL("powrprof.dll").NewProc("PowerGetUserConfiguredDCPowerMode")

	wlanOpen  = windows.NewLazySystemDLL("wlanapi.dll").NewProc("WlanOpenHandle")
	wlanClose = windows.NewLazySystemDLL("wlanapi.dll").NewProc("WlanCloseHandle")
	wlanEnum  = windows.NewLazySystemDLL("wlanapi.dll").NewProc("WlanEnumInterfaces")
	wlanQuery = windows.NewLazySystemDLL("wlanapi.dll").NewProc("WlanQueryInterface")
	wlanFree  = windows.NewLazySystemDLL("wlanapi.dll").NewProc("WlanFreeMemory")
)

// readSurroundings reads display, power mode and radios. What a call does not tell, or is not
// there to be called, is left out. A service has no desktop, and so no refresh rate.
func (f facts) readSurroundings() {
	if d, err := (systemCalls{}).OpenDevice(`\\.\LCD`); err == nil {
		var b [displayBrightnessSize]byte
		if n, err := d.Control(queryBrightness, nil, b[:]); err == nil {
			if ratio, ok := decodeBrightness(b[:n]); ok {
				f.set("display_brightness_ratio", ratio)
			}
		}
		_ = d.Close()
	}
	if enumDisplaySettings.Find() == nil {
		var mode [displayModeSize]byte
		binary.LittleEndian.PutUint16(mode[displayModeSizeAt:], displayModeSize)
		if ok, _, _ := enumDisplaySettings.Call(0, currentSettings, uintptr(unsafe.Pointer(&mode))); ok != 0 {
			f.set("display_refresh_hertz", decodeRefresh(mode[:]))
		}
	}
	f.readPowerMode()
	f.set("radio_wlan", wlanState())
	f.set("radio_bluetooth", bluetoothState())
}

// readPowerMode reads the active scheme and, where this Windows tells it, the mode that the
// user chose for the supply in force.
func (f facts) readPowerMode() {
	var status [powerStatusSize]byte
	onBattery := false
	if (systemCalls{}).PowerStatus(&status) == nil {
		onBattery = status[0] == 0
		f.set("battery_saver", [...]string{"off", "on"}[status[3]&1])
	}
	if getActiveScheme.Find() == nil {
		var scheme *windows.GUID
		if code, _, _ := getActiveScheme.Call(0, uintptr(unsafe.Pointer(&scheme))); code == 0 && scheme != nil {
			f.set("power_scheme", scheme.String())
			_, _ = windows.LocalFree(windows.Handle(unsafe.Pointer(scheme)))
		}
	}
	ask := modeOnMains
	if onBattery {
		ask = modeOnBattery
	}
	if ask.Find() != nil {
		return
	}
	var mode windows.GUID
	if code, _, _ := ask.Call(uintptr(unsafe.Pointer(&mode))); code == 0 {
		name, known := powerModes[mode.String()]
		if !known {
			name = mode.String()
		}
		f.set("power_mode", name)
	}
}

// wlanState is the state of the radio of the first wireless interface.
func wlanState() string {
	if wlanOpen.Find() != nil || wlanQuery.Find() != nil {
		return ""
	}
	var version uint32
	var client windows.Handle
	if code, _, _ := wlanOpen.Call(2, 0, uintptr(unsafe.Pointer(&version)), uintptr(unsafe.Pointer(&client))); code != 0 {
		return ""
	}
	defer wlanClose.Call(uintptr(client), 0) //nolint:errcheck // nothing could be done about it
	var list *struct {
		count, index uint32
		first        windows.GUID // of WLAN_INTERFACE_INFO
	}
	if code, _, _ := wlanEnum.Call(uintptr(client), 0, uintptr(unsafe.Pointer(&list))); code != 0 || list == nil {
		return ""
	}
	defer wlanFree.Call(uintptr(unsafe.Pointer(list))) //nolint:errcheck // it gives nothing
	if list.count == 0 {
		return ""
	}
	var size uint32
	var data *byte
	code, _, _ := wlanQuery.Call(uintptr(client), uintptr(unsafe.Pointer(&list.first)), wlanRadioState, 0,
		uintptr(unsafe.Pointer(&size)), uintptr(unsafe.Pointer(&data)), 0)
	if code != 0 || data == nil {
		return ""
	}
	defer wlanFree.Call(uintptr(unsafe.Pointer(data))) //nolint:errcheck // it gives nothing
	return decodeRadioState(unsafe.Slice(data, min(size, 4+wlanRadios*wlanRadioSize)))
}

// bluetoothState tells whether a radio is there and on: Windows shows no other.
func bluetoothState() string {
	radios, err := devices(bluetoothClass)
	switch {
	case err != nil:
		return ""
	case len(radios) == 0 || radios[0] == "":
		return "off"
	}
	return "on"
}
