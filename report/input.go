package report

import (
	"time"

	"sweepd/frames"
)

// Input is all that a report is made of. Zero fields leave their section out.
type Input struct {
	Study   Study
	Runs    []Run // every selected run, also those that do not count, in order of start
	Devices []Device
	Traces  []Trace  // the course of single runs
	Frames  []Frames // frame times
	Tidy    []byte   // the runs as CSV, offered for download

	Made    time.Time      // when the report was made
	Zone    *time.Location // of all times shown; nil: UTC
	Version string         // of the program
}

// Run is one run as the appendix lists it. Unknown numbers are nil.
type Run struct {
	ID        string
	Device    string
	Workload  string
	Variant   string
	Supply    string
	SettingW  *float64
	Setting   string   // the name where the watts are unknown
	ReportedW *float64 // the setting that the system reported, where it is another one
	Reported  string   // its name where the watts are unknown
	StartedAt time.Time
	DurationS *float64
	PackageW  *float64
	SystemW   *float64
	State     string // finished, rejected, interrupted, recording
	Why       string
	Note      string
	Results   map[string]Result
	Findings  []Finding
}

// Counts tells whether the analysis takes the run.
func (r *Run) Counts() bool { return r.State == "finished" }

// Result is a number that a workload reported.
type Result struct {
	Value float64
	Unit  string
}

// Finding is one thing about a run that a reader must know.
type Finding struct {
	Code     string
	Severity string // note, doubt or reject
	Text     string
	At       time.Time // zero: the run as a whole
}

// Device is what a device said of itself. Facts that changed between runs have
// several values.
type Device struct {
	Name  string
	Facts map[string][]string
}

// Trace is the course of one run.
type Trace struct {
	Run         string // id
	Temperature []Line // °C
	Power       []Line // W
	Clock       []Line // GHz
}

// Line is one quantity over the time since the start of the run.
type Line struct {
	Name   string
	Steps  bool // a value holds until the next, as a limit does
	Times  []float64
	Values []float64 // NaN where missing
}

// Frames is the frame times of one run or of several under the same conditions.
type Frames struct {
	Name  string
	Times *frames.Times
}
