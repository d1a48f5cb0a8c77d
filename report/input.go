package report

import (
	"time"

	"sweepd/frames"
	"sweepd/run"
)

// Input is all that a report is made of. Zero fields leave their section out.
type Input struct {
	Study   Study
	Runs    []run.Run // every selected run, also those that do not count, in order of start
	Devices []Device
	Traces  []Trace  // the course of single runs
	Frames  []Frames // frame times
	Tidy    []byte   // the runs as CSV, offered for download

	Made    time.Time      // when the report was made
	Zone    *time.Location // of all times shown; nil: UTC
	Version string         // of the program
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
