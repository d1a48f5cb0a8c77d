package run

// EventKind says what happened.
type EventKind uint8

const (
	RunStarted   EventKind = iota + 1 // it is stored and being recorded
	RunEnded                          // it is judged and stored, State says how it ended
	RunCorrected                      // results, findings or state were changed since
	SettingNow                        // the active setting, or where it is known from, is another
	SupplyNow                         // the supply is another
)

// Event is something that happened to a run or to the device.
type Event struct {
	Kind EventKind
	// Run is the run after what happened to it, of events of runs. It is shared:
	// read only.
	Run Run
	// Labels are in force from now on, of the other events.
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
