package collectors

import (
	"errors"
	"fmt"
	"unsafe"

	"golang.org/x/sys/windows"
)

// NewPower reads supply and batteries by the power calls of Windows and by the
// batteries' drivers.
func NewPower() Collector { return &windowsPower{calls: systemCalls{}} }

// NewEnergyMeters reads the processor's energy where its driver offers it by the
// Energy Metering Interface.
func NewEnergyMeters() Collector { return energyMeters{calls: systemCalls{}} }

// systemCalls are the calls of this system.
type systemCalls struct{}

var (
	getSystemPowerStatus   = windows.NewLazySystemDLL("kernel32.dll").NewProc("GetSystemPowerStatus")
	callNtPowerInformation = windows.NewLazySystemDLL("powrprof.dll").NewProc("CallNtPowerInformation")
	getInterfaceList       = windows.NewLazySystemDLL("cfgmgr32.dll").NewProc("CM_Get_Device_Interface_ListW")
)

func (systemCalls) PowerStatus(b *[powerStatusSize]byte) error {
	if ok, _, err := getSystemPowerStatus.Call(uintptr(unsafe.Pointer(b))); ok == 0 {
		return fmt.Errorf("%s: %w", powerStatusSource, err)
	}
	return nil
}

func (systemCalls) BatteryState(b *[batteryStateSize]byte) error {
	if err := callNtPowerInformation.Find(); err != nil {
		return fmt.Errorf("%s: %w", batteryStateSource, err)
	}
	status, _, _ := callNtPowerInformation.Call(systemBatteryState, 0, 0, uintptr(unsafe.Pointer(b)), uintptr(len(b)))
	if status != 0 {
		return fmt.Errorf("%s: %w", batteryStateSource, windows.NTStatus(status))
	}
	return nil
}

func (systemCalls) Batteries() ([]string, error) { return devices(batteryClass) }
func (systemCalls) Meters() ([]string, error)    { return devices(meterClass) }

// devices lists the paths of the present devices of a class.
func devices(class deviceClass) ([]string, error) {
	if err := getInterfaceList.Find(); err != nil {
		return nil, err
	}
	id := windows.GUID(class)
	list, err := windows.CM_Get_Device_Interface_List("", &id, windows.CM_GET_DEVICE_INTERFACE_LIST_PRESENT)
	var code windows.CONFIGRET
	switch {
	case errors.As(err, &code): // whose text may need a function that Wine lacks
		return nil, fmt.Errorf("list devices of class %v: configuration manager error %#x", id, uint32(code))
	case err != nil:
		return nil, fmt.Errorf("list devices of class %v: %w", id, err)
	}
	return list, nil
}

// handle is an open device.
type handle struct{ windows.Handle }

func (systemCalls) OpenDevice(path string) (controlDevice, error) {
	name, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return nil, err
	}
	h, err := windows.CreateFile(name, windows.GENERIC_READ, windows.FILE_SHARE_READ|windows.FILE_SHARE_WRITE, nil,
		windows.OPEN_EXISTING, windows.FILE_ATTRIBUTE_NORMAL, 0)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, err)
	}
	return handle{h}, nil
}

func (h handle) Control(code uint32, in, out []byte) (int, error) {
	var n uint32
	err := windows.DeviceIoControl(h.Handle, code, unsafe.SliceData(in), uint32(len(in)), unsafe.SliceData(out), uint32(len(out)), &n, nil)
	return int(n), err
}

func (h handle) Close() error { return windows.CloseHandle(h.Handle) }
