package run

// IDs of the sensors that other packages look for by name. Collectors may
// offer others; each ends in its SI unit.
const (
	// BatteryPower is positive while discharging, negative while charging, W.
	BatteryPower = "battery_power_watts"
	// BatteryEnergy is the remaining content, J.
	BatteryEnergy = "battery_energy_joules"
	// BatteryEnergyFull and BatteryEnergyDesign are the content when full, now
	// and when new, J.
	BatteryEnergyFull   = "battery_energy_full_joules"
	BatteryEnergyDesign = "battery_energy_design_joules"
	// BatteryCharge is the remaining share of the full content, 0 to 1.
	BatteryCharge = "battery_charge_ratio"
	// BatteryDirection is 1 while discharging, -1 while charging, 0 at rest.
	BatteryDirection = "battery_direction"
	BatteryVoltage   = "battery_voltage_volts"
	// BatteryCurrent is positive while discharging, A.
	BatteryCurrent = "battery_current_amperes"

	// SupplyOnline is 1 where mains or a charger feeds the device, else 0.
	SupplyOnline = "supply_online"
	// SupplyPowerLimit is what the charger offers, W.
	SupplyPowerLimit = "supply_power_limit_watts"
	// SupplyVoltage and SupplyCurrent are at the charger's input, V and A.
	SupplyVoltage = "supply_voltage_volts"
	SupplyCurrent = "supply_current_amperes"
	// SupplyUSBType is the kind of charger as an index into USBTypes.
	SupplyUSBType = "supply_usb_type"

	Temperature = "temperature_celsius"

	// Power, Energy and those that follow are of a place that only its
	// instance names, such as a sensor chip's rail: not a domain of the list
	// below. Energy is a counter since the probe was opened.
	Power     = "power_watts"
	Energy    = "energy_joules"
	Voltage   = "voltage_volts"
	Current   = "current_amperes"
	Frequency = "frequency_hertz"

	// ExternalPower is that of the whole device as a meter between it and its supply saw it,
	// W. No collector offers it: the log of the meter is joined to a run, see meter.
	ExternalPower = "external_power_watts"

	// PackagePower and the other powers by domain, W.
	PackagePower = "package_power_watts"
	CorePower    = "core_power_watts"
	GPUPower     = "gpu_power_watts"
	// UncorePower is of the package outside its cores, DRAMPower of the memory,
	// PlatformPower of everything that the firmware measures; package and DRAM
	// are part of that, cores and uncore of the package.
	UncorePower   = "uncore_power_watts"
	DRAMPower     = "dram_power_watts"
	PlatformPower = "platform_power_watts"
	// PackageEnergy and the other energies are counters since the probe was
	// opened, J.
	PackageEnergy = "package_energy_joules"
	CoreEnergy    = "core_energy_joules"
	GPUEnergy     = "gpu_energy_joules"

	UncoreEnergy   = "uncore_energy_joules"
	DRAMEnergy     = "dram_energy_joules"
	PlatformEnergy = "platform_energy_joules"

	// PowerLimit is an active limit as the system reports it, W. Its instance
	// is the kind of source: LimitFirmware, LimitPowercap or LimitGPU.
	PowerLimit = "power_limit_watts"
	// PlatformProfile is the active profile as an index into PlatformProfiles.
	PlatformProfile = "platform_profile"

	CPUFrequency = "cpu_frequency_hertz"
	CPUsOnline   = "cpus_online"
	CPUBusy      = "cpu_busy_ratio"
	GPUBusy      = "gpu_busy_ratio"
	GPUFrequency = "gpu_frequency_hertz"
	FanSpeed     = "fan_speed_hertz"

	// ThrottleEvents counts entries into thermal throttling since boot; its
	// instance is "core" or "package".
	ThrottleEvents = "throttle_events"

	MemoryAvailable = "memory_available_bytes"
	// PressureStall is the time that some task waited for the resource named
	// by the instance (cpu, memory, io), a counter, s.
	PressureStall = "pressure_stall_seconds"
)

// Instances of PowerLimit, which are also the sources of a setting.
const (
	LimitFirmware = "firmware"
	LimitPowercap = "powercap"
	LimitGPU      = "gpu"
)

// PlatformProfiles are the profiles of the kernel's platform_profile interface
// (Documentation/ABI/testing/sysfs-platform_profile), in order of rising power;
// custom has no place in that order and comes last. The order is part of the
// stored data: add at the end only.
var PlatformProfiles = []string{
	"low-power", "cool", "quiet", "balanced", "balanced-performance", "performance", "custom", "max-power",
}

// USBTypes are the words of the file usb_type of a supply, in the order of the
// kernel's table (drivers/power/supply/power_supply_sysfs.c of Linux 6.1; the last
// two are newer, and nobody looked them up). The order is part of the stored data:
// add at the end only.
var USBTypes = []string{"Unknown", "SDP", "DCP", "CDP", "ACA", "C", "PD", "PD_DRP", "PD_PPS", "BrickID", "PD_SPR_AVS", "PD_PPS_SPR_AVS"}
