package report

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"sweepd/frames"
	"sweepd/report/chart"
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

	Publication Publication

	Made    time.Time      // when the report was made
	Zone    *time.Location // of all times shown; nil: UTC
	Version string         // of the program
}

// Publication is what a publisher says of all that is published.
type Publication struct {
	Title      string         // of the page; "": what was tested with what
	Credit     string         // beneath every chart
	Conditions string         // under which was tested, beneath every chart
	Styles     map[string]int // of devices that look the same in all reports, from 1, see chart.Series
}

// Check tells what cannot be published; key names which of a Publication's fields in the
// configuration, or a part of it, is wrong.
func (p *Publication) Check() (key string, err error) {
	for _, line := range []struct{ key, text string }{{"title", p.Title}, {"credit", p.Credit}, {"conditions", p.Conditions}} {
		if line.text == "" {
			continue
		}
		if err := run.CheckLabel(line.key, line.text); err != nil {
			return line.key, err
		}
	}
	taken := map[int]string{}
	for _, device := range slices.Sorted(maps.Keys(p.Styles)) {
		style := p.Styles[device]
		if style < 1 || style > chart.Styles {
			return "styles", fmt.Errorf("the style of %s, %d, is not between 1 and %d", device, style, chart.Styles)
		}
		if other := taken[style]; other != "" {
			return "styles", fmt.Errorf("%s and %s have the same style, %d: give each its own", other, device, style)
		}
		taken[style] = device
	}
	return "", nil
}

// Or is a publication with what another one says where this one says nothing.
func (p Publication) Or(other Publication) Publication {
	return Publication{cmp.Or(p.Title, other.Title), cmp.Or(p.Credit, other.Credit), cmp.Or(p.Conditions, other.Conditions), other.Styles}
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
