package testday

import "sweepd/analysis"

// Battery says what runs draw on battery and how long the battery lasts. Runs at
// whose end the device switched off count as measured runtimes.
func Battery(x Selection, q analysis.BatteryRequest) (analysis.BatteryResult, error) {
	q.SwitchedOff = x.SwitchedOff
	return analysis.Battery(x.Runs, q)
}
