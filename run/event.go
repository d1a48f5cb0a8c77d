package run

// EventKind says what happened.
type EventKind uint8

const (
	RunStarted   EventKind = iota + 1 // it is stored and being recorded
	RunEnded                          // it is judged and stored, State says how it ended
	RunCorrected                      // results, findings or state were changed after its end
	SettingNow                        // the active setting, or where it is known from, changed
	SupplyNow                         // the supply changed
)

// Event is something that happened to a run or to the device.
type Event struct {
	Kind EventKind
	// Run is set for events of runs: the run after the event. It is shared: read only.
	Run Run
	// Labels are set for the other events: those in force from now on.
	Labels Labels
}

func (k EventKind) String() string {
	switch k {
	case RunStarted:
		return "run started"
	case RunEnded:
		return "run ended"
	case RunCorrected:
		return "run corrected"
	case SettingNow:
		return "setting"
	case SupplyNow:
		return "supply"
	}
	return "unknown event"
}
