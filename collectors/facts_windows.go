package collectors

import (
	"fmt"

	"golang.org/x/sys/windows/registry"
)

// readPlatform reads what the registry holds of the firmware's tables, the power
// scheme and the display adapters. Nobody looked the names of the keys and values
// up; README says so.
func (f facts) readPlatform(Roots) {
	const bios = `HARDWARE\DESCRIPTION\System\BIOS`
	for key, value := range map[string]string{
		"host_vendor": "SystemManufacturer", "host_model": "SystemProductName", "host_version": "SystemVersion",
		"host_board": "BaseBoardProduct", "firmware_version": "BIOSVersion", "firmware_date": "BIOSReleaseDate",
	} {
		f.set(key, registryText(bios, value))
	}
	f.set("power_scheme", registryText(`SYSTEM\CurrentControlSet\Control\Power\User\PowerSchemes`, "ActivePowerScheme"))
	f.readSurroundings()
	f.readAdapters()
}

// readAdapters lists the drivers of the class of display adapters, whose
// subkeys are numbered from 0000 with possible gaps.
func (f facts) readAdapters() {
	const class = `SYSTEM\CurrentControlSet\Control\Class\{4d36e968-e325-11ce-bfc1-08002be10318}`
	var drivers, versions []string
	for i := range 16 {
		adapter := fmt.Sprintf(`%s\%04d`, class, i)
		drivers = append(drivers, registryText(adapter, "DriverDesc"))
		versions = append(versions, registryText(adapter, "DriverVersion"))
	}
	f.set("gpu_driver", distinct(drivers))
	f.set("gpu_driver_version", distinct(versions))
}

func registryText(path, value string) string {
	k, err := registry.OpenKey(registry.LOCAL_MACHINE, path, registry.QUERY_VALUE)
	if err != nil {
		return ""
	}
	defer k.Close()
	text, _, err := k.GetStringValue(value)
	if err != nil {
		return ""
	}
	return text
}
