package simdevice

import (
	"fmt"
	"math"
	"time"
)

// Parts is a set of optional parts of the device or of its file tree.
type Parts uint32

// The parts that [Config].Without can leave out.
const (
	PartBattery         Parts = 1 << iota // BAT0
	PartAdapter                           // class/power_supply/ADP0
	PartPowercap                          // package energy counters
	PartPowercapLimit                     // the constraints of the package zone
	PartFirmwareLimit                     // firmware-attributes ppt_pl1_spl
	PartPlatformProfile                   // firmware/acpi/platform_profile and class/platform-profile
	PartGPU                               // class/drm/card1 and its hwmon
	PartGPUCap                            // power1_cap of the GPU's hwmon
	PartHwmon                             // processor, firmware and disk temperatures
	PartFan                               // the fan's hwmon and its cooling device
	PartThermalZones                      // class/thermal
	PartCPUFreq                           // devices/system/cpu/cpufreq
	PartThrottleCounts                    // cpuN/thermal_throttle
	PartPressure                          // proc/pressure
	PartDMI                               // class/dmi/id
	PartBacklight                         // class/backlight
	PartRadios                            // class/rfkill and the wireless interface
)

// Config describes a device. The zero value is a complete handheld; a field
// left at zero has the default that its comment names. Where zero would be a
// wanted value, a negative number stands for "none".
type Config struct {
	Name string // the device's own name in class/dmi/id; default "unit-oak"
	Seed uint64 // of all random numbers; default 1

	Without Parts // parts that this device lacks

	// Power of the package, W.
	IdleW          float64 // at rest at 50 degrees, leakage included; default 1.6
	MaxDynamicW    float64 // dynamic power at the highest clock; default 58
	LeakW          float64 // leakage at 50 degrees; default 0.5, negative none
	MaxHz          float64 // highest clock; default 3.8e9
	CPUs           int     // logical processors; default 8, at most 64
	RippleRatio    float64 // sd of the package around its limit; default 0.004, negative none
	OverheadW      float64 // rest of the system: display, memory, losses; default 4.6
	OverheadSlope  float64 // system watts for each package watt; default 1.15
	OverheadRipple float64 // sd of the overhead relative to itself; default 0.01, negative none
	DisplayW       float64 // what the display adds at full brightness, part of OverheadW; default 2, negative none
	BatteryDim     float64 // brightness that the system turns the display down to when unplugged, 0 to 1; default 1

	// The limit controller, W.
	SettingW   float64       // the setting at the start; default 15
	FloorW     float64       // settings below it act as it does; default 7
	CapW       float64       // settings above it act as it does; default 54
	MinW, MaxW float64       // range the firmware states; default 4 to 60
	BoostRatio float64       // short-term excess over the setting while the running mean is below it; default none
	BoostTime  time.Duration // time constant of that running mean; default 10 s

	// Heat.
	HeatCapacity float64 // J/K of heat sink and case; default 60
	PassiveWK    float64 // W/K given off without the fan; default 0.45
	FanWK        float64 // W/K more with the fan at full speed; default 0.75, negative none
	FanStartC    float64 // die temperature at which the fan starts; default 42
	FanFullC     float64 // and at which it reaches full speed; default 78

	// Batteries. The first is BAT0.
	Batteries []BatteryConfig // default one battery of 48.6 Wh

	// Supply.
	ChargerW      float64       // what the charger can deliver; default 65
	ChargeStop    float64       // charge at which charging ends; default 1
	StartOnMains  bool          // plugged in at the start; so is a device without a battery
	OnlineLag     time.Duration // from plugging to the adapter's online file; default 0
	StatusLag     time.Duration // from plugging until a battery's status may follow; default 0
	Supply        SupplyKind    // how the adapter shows itself; default Mains
	Thermometers  int           // further temperatures, on chips of 8 that have nothing else; default none
	Peripheral    bool          // also show a gamepad's battery with scope Device
	PowercapZone  int           // number of the package zone, shown in hexadecimal; default 0
	WrapMicroJ    uint64        // range of the energy counters; default 262143328850
	CurrentOnly   bool          // firmware attribute has current_value alone
	HwmonInDevice bool          // values of the fan's hwmon lie in hwmonN/device
	IgnoreWrites  bool          // values written into the tree are put back
	StrictLimits  bool          // a firmware limit that would lie above the next is refused, instead of moving it
	Reverts       Reverts       // when the limit goes back to SettingW by itself

	// Results.
	Curves      map[string]Curve // by workload; default a curve for every workload
	NoiseCV     float64          // of a result from run to run; default 0.01, negative none
	DriftCV     float64          // sd of slow drift of results; default none
	Dips        []Dip            // settings at which results are worse than the curve
	BatteryLoss BatteryLoss      // what results lose on battery; default nothing
}

// Reverts is when firmware puts its own power limit back, whatever was set.
type Reverts struct {
	OnResume bool          // after a suspend
	OnPlug   bool          // when the charger is plugged in or pulled
	Every    time.Duration // at random, after this long on average; 0 never
}

// SupplyKind is how the adapter shows itself in class/power_supply.
type SupplyKind int

// The kinds of supply.
const (
	SupplyMains SupplyKind = iota // ADP0 of type Mains
	SupplyUSB                     // a USB-C port of type USB, usb_type with brackets
	SupplyBoth                    // both of them, fed by the same charger
)

// BatteryConfig describes one battery and its gauge.
type BatteryConfig struct {
	Name   string  // default BAT0, BAT1, ...
	FullWh float64 // content when full; default 48.6
	Charge float64 // charge ratio at the start; default 0.9, negative empty
	MinV   float64 // open-circuit voltage when empty; default 10.8
	MaxV   float64 // and when full; default 12.9
	Ohm    float64 // inner resistance, seen in the voltage; default 0.06, negative none

	ReportsCharge bool          // charge_* and current_now instead of energy_* and power_now
	Negative      bool          // rate is negative while discharging
	NoRate        bool          // neither power_now nor current_now
	Refresh       time.Duration // values change only this often; default 1 s
	QuantumWh     float64       // rounding of energy_now; charge_now rounds to a tenth of it in Ah; default 0.01, that is 1 mAh
	GaugeNoise    float64       // sd of one rate reading relative to its value; default 0.004, negative none
	GaugeTime     time.Duration // rate is a running mean with this time constant; default: the mean since the last refresh
}

// Curve is how a workload's rate grows with the package's watts:
// Peak * (1 - exp(-(w-StartW)/ScaleW)), 0 below StartW.
type Curve struct {
	Peak   float64 // rate without a power limit, in the workload's unit per second
	StartW float64 // watts at which the workload begins to advance
	ScaleW float64 // watts over which the missing part falls by e
}

// Dip is a setting at which results are worse than the curve.
type Dip struct {
	SettingW float64 // W
	Ratio    float64 // of the rate that is lost, 0 to 1
}

// BatteryLoss is the ratio of a result's rate that is lost on battery: nothing
// up to FromW of package power, Ratio from FullW on, linear between.
type BatteryLoss struct {
	Ratio        float64
	FromW, FullW float64
}

// withDefaults returns c with every zero field filled in and negative "none"
// turned to zero, or an error that names the field that makes no sense.
func (c Config) withDefaults() (Config, error) {
	text(&c.Name, "unit-oak")
	if c.Seed == 0 {
		c.Seed = 1
	}
	for _, f := range []struct {
		value *float64
		def   float64
	}{
		{&c.IdleW, 1.6}, {&c.MaxDynamicW, 58}, {&c.LeakW, 0.5}, {&c.MaxHz, 3.8e9},
		{&c.RippleRatio, 0.004}, {&c.OverheadW, 4.6}, {&c.OverheadSlope, 1.15}, {&c.OverheadRipple, 0.01}, {&c.DisplayW, 2}, {&c.BatteryDim, 1},
		{&c.SettingW, 15}, {&c.FloorW, 7}, {&c.CapW, 54}, {&c.MinW, 4}, {&c.MaxW, 60},
		{&c.HeatCapacity, 60}, {&c.PassiveWK, 0.45}, {&c.FanWK, 0.75}, {&c.FanStartC, 42}, {&c.FanFullC, 78},
		{&c.ChargerW, 65}, {&c.ChargeStop, 1}, {&c.NoiseCV, 0.01},
	} {
		number(f.value, f.def)
	}
	length(&c.BoostTime, 10*time.Second)
	if c.CPUs == 0 {
		c.CPUs = 8
	}
	if c.WrapMicroJ == 0 {
		c.WrapMicroJ = 262143328850 // as in the capture of references, A3
	}
	if err := c.fillBatteries(); err != nil {
		return c, err
	}
	return c, c.check()
}

func (c *Config) fillBatteries() error {
	if c.Without&PartBattery != 0 {
		c.Batteries = nil
		return nil
	}
	filled := make([]BatteryConfig, max(1, len(c.Batteries)))
	copy(filled, c.Batteries)
	c.Batteries = filled
	seen := map[string]bool{}
	for i := range c.Batteries {
		b := &c.Batteries[i]
		text(&b.Name, fmt.Sprintf("BAT%d", i))
		number(&b.FullWh, 48.6)
		number(&b.Charge, 0.9)
		number(&b.MinV, 10.8)
		number(&b.MaxV, 12.9)
		number(&b.Ohm, 0.06)
		number(&b.QuantumWh, 0.01)
		number(&b.GaugeNoise, 0.004)
		length(&b.Refresh, time.Second)
		if seen[b.Name] {
			return fmt.Errorf("simdevice: two batteries are called %q", b.Name)
		}
		seen[b.Name] = true
		if b.Charge > 1 || b.MaxV <= b.MinV || b.Refresh < timeStep {
			return fmt.Errorf("simdevice: battery %s: charge %v must be at most 1, MaxV %v above MinV %v, refresh %v at least %v",
				b.Name, b.Charge, b.MaxV, b.MinV, b.Refresh, timeStep)
		}
	}
	return nil
}

func (c *Config) check() error {
	switch {
	case c.CPUs < 1 || c.CPUs > 64:
		return fmt.Errorf("simdevice: CPUs is %d, must be 1 to 64", c.CPUs)
	case c.FloorW > c.CapW || c.MinW > c.MaxW:
		return fmt.Errorf("simdevice: FloorW %v above CapW %v, or MinW %v above MaxW %v", c.FloorW, c.CapW, c.MinW, c.MaxW)
	case c.FanFullC <= c.FanStartC:
		return fmt.Errorf("simdevice: FanFullC %v must be above FanStartC %v", c.FanFullC, c.FanStartC)
	case c.ChargeStop > 1:
		return fmt.Errorf("simdevice: ChargeStop is %v, must be at most 1", c.ChargeStop)
	case c.IdleW < c.LeakW:
		return fmt.Errorf("simdevice: IdleW %v includes leakage and must be at least LeakW %v", c.IdleW, c.LeakW)
	}
	return nil
}

func number(v *float64, def float64) {
	if *v == 0 {
		*v = def
	}
	*v = math.Max(*v, 0)
}

func length(v *time.Duration, def time.Duration) {
	if *v <= 0 {
		*v = def
	}
}

func text(v *string, def string) {
	if *v == "" {
		*v = def
	}
}
