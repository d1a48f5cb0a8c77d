package analysis

import "time"

// Run is one run as the analysis sees it: plain values, no sensors.
//
// Numbers that are not known are nil. Callers pass the runs that count
// (finished, not rejected); the analysis never drops one because of its value
// alone, see Flagged.
type Run struct {
	ID       string
	Device   string
	Workload string
	Supply   string // "mains" or "battery"; "" when unknown
	Variant  string // sorted k=v pairs joined by commas; "" when none

	SettingW    *float64 // the active setting in watts; nil for a named setting
	SettingName string   // the setting's name when its watts are unknown

	StartedAt time.Time
	DurationS float64 // 0 when unknown

	PackageW *float64 // mean package power, W
	SystemW  *float64 // mean power of the whole device, W
	// SystemU is the relative standard uncertainty of SystemW as the run itself
	// states it; 0 unknown. What makes one run's power uncertain (a gauge's delay,
	// its rounding) is the same in its repeats, so repeating does not reduce it.
	SystemU float64

	Results map[string]Result

	Findings []string          // codes of findings, for example "hot_start"
	Facts    map[string]string // what the device said of itself at the start

	StartTempC   *float64 // temperature at the start, degrees Celsius
	ChargeRatio  *float64 // battery charge at the start, 0 to 1
	EndCharge    *float64 // battery charge at the end, 0 to 1
	EndedReserve bool     // the battery came down to its reserve
}

// Result is a number that a workload reported.
type Result struct {
	Value         float64
	Unit          string
	LowerIsBetter bool
}
