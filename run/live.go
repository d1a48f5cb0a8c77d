package run

// Live is what an agent knows of its device at its latest sweep.
type Live struct {
	Now     Instant // when this was asked for
	At      Instant // when the sweep was taken
	Sweeps  uint64  // taken since the agent started; 0 means that nothing below is known
	Current Labels
	// Declared is the setting that somebody declared; nil where none is in force.
	Declared *Declaration
	// SettingRead is what the system reports; nil when it reports nothing.
	SettingRead *SourcedSetting
	// SettingCommandFailure is why the command that the user configured tells no
	// setting; empty where it does or there is none.
	SettingCommandFailure string
	// Recording is the run in progress, nil between runs.
	Recording *Run
	// Unstored are the runs that have ended and could not be stored so far.
	Unstored []Record

	Sensors []Sensor
	Values  []float64 // NaN where missing

	DischargeWatts float64 // positive while discharging; NaN unknown
	ChargeRatio    float64 // 0 to 1; NaN unknown
}
