package agent

import "time"

// Severity says how much a finding weighs.
type Severity string

const (
	SeverityNote   Severity = "note"
	SeverityDoubt  Severity = "doubt"
	SeverityReject Severity = "reject" // sets the run's state
)

// Code names a kind of finding. Codes are a contract.
type Code string

const (
	SupplyChanged Code = "supply_changed"
	Suspended     Code = "suspended"

	SettingChanged   Code = "setting_changed"
	SettingDisagrees Code = "setting_disagrees"
	SettingDisobeyed Code = "setting_disobeyed"
	HotStart         Code = "hot_start"
	ChargerWeak      Code = "charger_weak"
	BatteryReserve   Code = "battery_reserve"
	BusyStart        Code = "busy_start"
	SamplingGap      Code = "sampling_gap"
	SensorGone       Code = "sensor_gone"
	TooShort         Code = "too_short"
	ResultMissing    Code = "result_missing"
	FramesShort      Code = "frames_short"

	Throttled    Code = "throttled"
	Charging     Code = "charging"
	ClockStepped Code = "clock_stepped"
	SensorStale  Code = "sensor_stale"
	Outlying     Code = "outlying"
)

// Finding is one thing about a run that a reader must know. Text is a sentence
// with the evidence in numbers and what to do.
type Finding struct {
	Code     Code      `json:"code"`
	Severity Severity  `json:"severity"`
	Text     string    `json:"text"`
	At       time.Time `json:"-"` // zero: the run as a whole
}
