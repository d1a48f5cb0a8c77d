package collectors

import (
	"encoding/binary"
	"math"
	"strconv"
)

// What Windows tells of display, radios and power mode, as its headers have it:
// testdata/windows_headers.c holds it against them.
const (
	// queryBrightness is IOCTL_VIDEO_QUERY_DISPLAY_BRIGHTNESS, asked of the device of the
	// built-in display; it fills a DISPLAY_BRIGHTNESS.
	queryBrightness       = 0x230498
	displayBrightnessSize = 3
	brightnessOnMains     = 1 // DISPLAYPOLICY_AC; 2 is DISPLAYPOLICY_DC

	// currentSettings is ENUM_CURRENT_SETTINGS; the answer is a DEVMODEW.
	currentSettings     = 0xffffffff
	displayModeSize     = 220
	displayModeSizeAt   = 68 // of dmSize
	displayFrequencyAt  = 184
	defaultRefreshBelow = 2 // 0 and 1 stand for the hardware's default, which is not told

	// The radios of a wireless interface: wlan_intf_opcode_radio_state gives a
	// WLAN_RADIO_STATE of wlanRadios at most.
	wlanRadioState = 4
	wlanRadios     = 64
	wlanRadioSize  = 12 // WLAN_PHY_RADIO_STATE: index, state by software, state by hardware
	radioOff       = 2  // dot11_radio_state_off
)

// decodeBrightness reads a DISPLAY_BRIGHTNESS: which brightness is in force, and both in
// percent.
func decodeBrightness(b []byte) (ratio string, ok bool) {
	if len(b) < displayBrightnessSize || b[0] != brightnessOnMains && b[0] != brightnessOnMains+1 {
		return "", false
	}
	percent := b[1]
	if b[0] != brightnessOnMains {
		percent = b[2]
	}
	if percent > 100 {
		return "", false
	}
	return percentShare(float64(percent) / 100), true
}

// decodeRefresh reads the rate, Hz, of a DEVMODEW; empty where it is not told.
func decodeRefresh(mode []byte) string {
	hertz := binary.LittleEndian.Uint32(mode[displayFrequencyAt:])
	if hertz < defaultRefreshBelow {
		return ""
	}
	return strconv.FormatUint(uint64(hertz), 10)
}

// decodeRadioState reads a WLAN_RADIO_STATE as the kernel's rfkill would be told: a radio
// is on where neither software nor its switch has it off.
func decodeRadioState(b []byte) string {
	if len(b) < 4 {
		return ""
	}
	n := min(int(binary.LittleEndian.Uint32(b)), wlanRadios)
	state := ""
	for i := range n {
		at := 4 + wlanRadioSize*i
		if len(b) < at+wlanRadioSize {
			break
		}
		software, hardware := binary.LittleEndian.Uint32(b[at+4:]), binary.LittleEndian.Uint32(b[at+8:])
		switch {
		case software == 1 && hardware == 1:
			return "on"
		case hardware == radioOff:
			state = "off by its switch"
		case software == radioOff:
			state = "off"
		}
	}
	return state
}

// powerModes names the power modes that have been published, by their identifiers. From
// memory, nobody looked them up.
var powerModes = map[string]string{
	"{961CC777-2547-4F9D-8174-7D86181B8A7A}": "best power efficiency",
	"{00000000-0000-0000-0000-000000000000}": "balanced",
	"{3AF9B8D9-7C97-431D-AD78-34A8BFEA439F}": "better performance",
	"{DED574B5-45A0-4F42-8737-46345C09C238}": "best performance",
}

// percentShare writes a share to the percent: sets of facts are shared by runs, and a
// display that follows the light in the room moves by less.
func percentShare(ratio float64) string {
	return strconv.FormatFloat(math.Round(100*ratio)/100, 'f', -1, 64)
}

// bluetoothClass is GUID_BTHPORT_DEVICE_INTERFACE, the class of Bluetooth radios that are
// on. The functions of bluetoothapis.dll that find a radio end the process under Wine.
var bluetoothClass = deviceClass{0x0850302a, 0xb344, 0x4fda, [8]byte{0x9b, 0xe9, 0x90, 0x57, 0x6b, 0x8d, 0x46, 0xf0}}
