package run

// Live is what an agent knows of its device at its latest sweep.
type Live struct {
	Now     Instant // when this was asked for
	At      Instant // when the sweep was taken
	Sweeps  uint64  // taken since the agent started; 0 means that of what is below only what was declared is known
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
	// Stopped is the run that was stopped last since the agent started.
	Stopped Stopped
	// Unstored are the runs that have ended and could not be stored so far.
	Unstored []Record

	Sensors []Sensor
	Values  []float64 // NaN where missing

	DischargeWatts float64 // positive while discharging; NaN unknown
	ChargeRatio    float64 // 0 to 1; NaN unknown
}

// Stopped is a run that was stopped and what stopped it, see Stop.By.
type Stopped struct{ Run, By string }
