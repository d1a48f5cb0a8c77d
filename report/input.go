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
	// Measured is what sensors measured of runs besides their watts, by the runs' ids.
	Measured map[string]Measured
	Tidy     []byte // the runs as CSV, offered for download

	Words  Words          // the publisher's own
	Styles map[string]int // of devices that look the same in all reports, see chart.Series

	Made    time.Time      // when the report was made
	Zone    *time.Location // of all times shown; nil: UTC
	Version string         // of the program
}

// Words are what a publisher writes on a report.
type Words struct {
	Title      string // of the page; "": what was tested with what
	Credit     string // beneath every chart
	Conditions string // under which was tested, beneath every chart
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
	Fan         []Line // revolutions per minute
	// Normal tells that the run is drawn as one like all others, without a finding.
	Normal bool
}

// Measured is what sensors measured over a run, NaN where there is no sensor.
type Measured struct {
	TemperatureOf string  // what the sensor is at, such as "CPU"
	Temperature   float64 // °C, mean over the run
	Clock         float64 // GHz, mean over the run and all clocks of the processor
	Fan           float64 // revolutions per minute, mean over the run and all fans
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
