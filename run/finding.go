package run

import (
	"cmp"
	"time"
)

// Severity says how much a finding matters.
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
	SettingUnknown   Code = "setting_unknown"
	SettingDisagrees Code = "setting_disagrees"
	SettingDisobeyed Code = "setting_disobeyed"
	SupplyDisagrees  Code = "supply_disagrees"
	HotStart         Code = "hot_start"
	ChargerWeak      Code = "charger_weak"
	BatteryReserve   Code = "battery_reserve"
	BusyStart        Code = "busy_start"
	SamplingGap      Code = "sampling_gap"
	SensorGone       Code = "sensor_gone"
	TooShort         Code = "too_short"
	ResultMissing    Code = "result_missing"
	FramesShort      Code = "frames_short"
	CommandFailed    Code = "command_failed"
	ReadingsLost     Code = "readings_lost"
	DataDamaged      Code = "data_damaged"
	ContentStep      Code = "content_step"
	CounterStep      Code = "counter_step"
	ConditionsDiffer Code = "conditions_differ"
	IdleTail         Code = "idle_tail"
	MeterDisagrees   Code = "meter_disagrees"

	Throttled    Code = "throttled"
	Charging     Code = "charging"
	ClockStepped Code = "clock_stepped"
	SensorStale  Code = "sensor_stale"
	Outlying     Code = "outlying"

	KeptInterrupted Code = "kept_interrupted"
)

// advice says what a tester can do about a kind of finding.
var advice = map[Code]string{
	SupplyChanged:    "run it again on one supply",
	Suspended:        "run it again with suspend off",
	SettingChanged:   "run it again",
	SettingUnknown:   "declare it before the next run: sweepd setting 25W",
	SettingDisagrees: "set the device or the declaration right",
	SupplyDisagrees:  "see which is right: `sweepd run history RUN` names the correction, and `sweepd run correct --undo ID` takes it back",
	HotStart:         "let the device cool down before a run",
	ChargerWeak:      "use a stronger charger or lower the setting",
	BatteryReserve:   "charge it before the run",
	BusyStart:        "end what runs in the background",
	SensorGone:       "the agent's log says why it could not be read",
	TooShort:         "run it longer",
	ResultMissing:    "add it with sweepd run result RUN NAME=VALUE",
	FramesShort:      "record frames from start to stop, or see whether file and unit are the right ones",
	CommandFailed:    "see what the command printed, and run it again",
	ReadingsLost:     "see that the disk has room and answers; the agent's log says what it refused",
	DataDamaged:      "copy the data to another disk and look after this one",
	ContentStep:      "run it again if the battery was changed; else let its gauge learn: charge it full, empty it once",
	ConditionsDiffer: "put the device as it was and run it again, or reject the run",
	IdleTail:         "let it count up to where the load ended with sweepd run trim RUN (--end says otherwise), or whole with sweepd run keep RUN --why TEXT; until then its watts count nowhere",
	MeterDisagrees:   "see whether it is the right file and the right run: sweepd run meter RUN FILE --replace joins another, --undo takes it out",
	CounterStep:      "run it again; where it comes back, the agent's log says what the counter showed",
	Throttled:        "improve cooling, or lower the setting, and say so when publishing",
	Charging:         "charge it before the run to compare at rest",
	Outlying:         "look for the cause, and reject the run if you find one",
}

// Finding is one thing about a run that a reader must know. Text is the evidence in
// numbers, which may be published; Advice is what a tester can do about it, empty
// where nothing can be done, and is not kept with the run.
type Finding struct {
	Code     Code      `json:"code"`
	Severity Severity  `json:"severity"`
	Text     string    `json:"text"`
	Advice   string    `json:"advice"`
	At       time.Time `json:"-"` // zero: the run as a whole
}

// WithAdvice is the text for a tester: the evidence and, where there is any, the advice.
func (f Finding) WithAdvice() string {
	if f.Advice == "" {
		return f.Text
	}
	return f.Text + "; " + f.Advice
}

// Advise sets the advice of the findings that have none to that of their codes.
func Advise(list []Finding) {
	for i := range list {
		if f := &list[i]; f.Code != IdleTail || f.Severity != SeverityNote { // a note says what was decided already
			f.Advice = cmp.Or(f.Advice, advice[f.Code])
		}
	}
}

// Codes are the codes that findings may have, in the order of the alphabet.
func Codes() []string {
	return []string{
		string(BatteryReserve), string(BusyStart), string(ChargerWeak), string(Charging), string(ClockStepped), string(CommandFailed), string(ConditionsDiffer),
		string(ContentStep), string(CounterStep), string(DataDamaged), string(FramesShort), string(HotStart), string(IdleTail), string(KeptInterrupted), string(MeterDisagrees), string(Outlying),
		string(ReadingsLost), string(ResultMissing), string(SamplingGap), string(SensorGone), string(SensorStale), string(SettingChanged),
		string(SettingDisagrees), string(SettingDisobeyed), string(SettingUnknown), string(SupplyChanged), string(SupplyDisagrees), string(Suspended), string(Throttled), string(TooShort),
	}
}

// LowCharge is the charge below which a run on battery is doubted, 0 to 1, unless the
// configuration says otherwise: devices limit themselves there, and at 0 they switch off
// in mid-run. Plans and idle drains leave as much (common practice, no source).
const LowCharge = 0.1
