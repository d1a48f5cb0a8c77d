package testday

import (
	"archive/tar"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"sweepd/exporter"
	"sweepd/frames"
	"sweepd/report"
	"sweepd/run"
	"sweepd/store"
)

// ReportRequest says what a report is about.
type ReportRequest struct {
	Filter    store.Filter
	Lower     []string // results of which less is better
	Questions report.Questions
	// AllDevices ranks all devices tested so far against one, also those that the filter leaves out.
	AllDevices bool
	Runs       []string // whose course is drawn; none: those with the worst findings
	Frames     []report.Frames
}

// ReportQuestion is what a person asks of a report.
type ReportQuestion struct {
	AnalysisRequest
	Metrics    []string `json:"metrics"`     // results to look at; none: of each workload the one that most runs have
	Run        []string `json:"run"`         // whose course is drawn; none: those with the worst findings
	AllDevices bool     `json:"all_devices"` // rank all devices tested so far against B, or the device that is selected
	B          string   `json:"b"`           // the device that the others are compared with
	Margin     *float64 `json:"margin"`      // relative difference that does not matter
	FullEnergy []string `json:"full_energy"` // see ParseFullEnergy
	Reserve    float64  `json:"reserve"`     // share of the full energy that is kept back
	Price      []string `json:"price"`       // see ParsePrices
	PNG        bool     `json:"png"`         // pictures for videos as well
	Shape      []string `json:"shape"`       // of those: wide, square, upright; none: wide
	Title      string   `json:"title"`       // of the page; "": the configuration's, else what was tested
	Credit     string   `json:"credit"`      // beneath every chart; "": the configuration's
	Conditions string   `json:"conditions"`  // the same, beneath every chart

	// How to read frame times, where there are any, see frames.Options.
	FrameColumn     string `json:"frame_column"`
	FrameUnit       string `json:"frame_unit"`
	FrameTimestamps bool   `json:"frame_timestamps"`
	FrameDelimiter  string `json:"frame_delimiter"` // comma, semicolon, tab or none
}

// DrawReport writes a report as an archive of its files.
var DrawReport = &Operation[ReportQuestion, Nothing]{
	About{Method: "GET", Path: "/report", Summary: "Gives a report as an archive of report.html, its charts, and what it claims, claims.json.", Gives: Archive},
	func(ctx context.Context, d *Day, q ReportQuestion) (Nothing, error) {
		return Nothing{}, q.draw(ctx, d, nil)
	},
}

// DrawReportOfFrames is DrawReport with the distributions of frame times, whose files are
// an archive too: each is called as the report shall call it.
var DrawReportOfFrames = &Operation[ReportQuestion, Nothing]{
	About{Method: "POST", Path: "/report", Summary: "Gives a report with the distributions of the frame times in an archive of files.", Takes: Archive, Gives: Archive},
	func(ctx context.Context, d *Day, q ReportQuestion) (n Nothing, err error) {
		sets, err := q.frames(ctx, d.In)
		if err != nil {
			return n, err
		}
		return n, q.draw(ctx, d, sets)
	},
}

// Archive is the media type of files that travel together (POSIX.1-2001, pax).
const Archive = "application/x-tar"

// FileOfSet is the record of an archive's entry that names the file of a set of frame
// times, for errors.
const FileOfSet = "SWEEPD.file"

// Delimiters are the words for what separates columns.
var Delimiters = map[string]byte{"comma": ',', "semicolon": ';', "tab": '\t', "none": frames.NoDelimiter}

// frames reads the frame times of an archive.
func (q *ReportQuestion) frames(ctx context.Context, from io.Reader) (sets []report.Frames, err error) {
	o := frames.Options{Column: q.FrameColumn, Timestamps: q.FrameTimestamps, Delimiter: Delimiters[q.FrameDelimiter]}
	if q.FrameUnit != "" {
		if o.Unit, err = frames.ParseUnit(q.FrameUnit); err != nil {
			return nil, requestError(err)
		}
	}
	for in := tar.NewReader(from); ; {
		h, err := in.Next()
		if errors.Is(err, io.EOF) {
			return sets, nil
		}
		if err != nil {
			return nil, requestError(fmt.Errorf("what was sent is no archive of frame times (tar), or was cut off: %w", err))
		}
		o.File = cmp.Or(h.PAXRecords[FileOfSet], h.Name)
		r, err := frames.NewReader(in, o)
		if err != nil {
			return nil, err
		}
		times, err := r.Times(0, nil)
		if err != nil {
			return nil, err
		}
		sets = append(sets, report.Frames{Name: h.Name, Times: times})
	}
}

// draw makes the report and gives its files.
func (q *ReportQuestion) draw(ctx context.Context, d *Day, sets []report.Frames) error {
	f, err := q.Filter(d.Now)
	if err != nil {
		return err
	}
	full, err := ParseFullEnergies(q.FullEnergy)
	if err != nil {
		return err
	}
	prices, err := d.PricesOr(q.Price)
	if err != nil {
		return err
	}
	published, shapes, err := q.Published()
	if err != nil {
		return requestError(err)
	}
	in, err := ReportInput(ctx, d.Store, ReportRequest{
		Filter: f, Lower: d.lower(q.Lower), AllDevices: q.AllDevices, Runs: q.Run, Frames: sets,
		Questions: report.Questions{Metrics: q.Metrics, Reference: q.B, Margin: q.Margin, Declared: q.Noise, Full: full, Reserve: q.Reserve, Prices: prices},
	})
	if ahead := q.Ahead(d.Now); err != nil && ahead != "" {
		return fmt.Errorf("%w: %s", err, ahead)
	}
	if err != nil {
		return err
	}
	in.Made, in.Version, in.Zone = d.Now, d.Version, d.Now.Location()
	in.Publication = published.Or(d.Published)
	out := tar.NewWriter(d.Out)
	err = report.Files(ctx, report.Compose(in), report.Options{PNG: q.PNG || len(shapes) > 0, Shapes: shapes, Progress: d.Progress}, func(name string, text []byte) error {
		if err := out.WriteHeader(&tar.Header{Name: name, Mode: 0o644, Size: int64(len(text)), ModTime: d.Now}); err != nil {
			return err
		}
		_, err := out.Write(text)
		return err
	})
	if err != nil {
		return err
	}
	return out.Close()
}

// Published is what the question says of what is published, and the shapes of pictures.
func (q *ReportQuestion) Published() (p report.Publication, shapes []report.Shape, err error) {
	p = report.Publication{Title: q.Title, Credit: q.Credit, Conditions: q.Conditions}
	if _, err := p.Check(); err != nil {
		return p, nil, err
	}
	for _, name := range q.Shape {
		shape := report.Shape(name)
		if !slices.Contains(report.Shapes, shape) {
			return p, nil, fmt.Errorf("shape %q is none of wide, square and upright", run.Shorten(name))
		}
		shapes = append(shapes, shape)
	}
	return p, shapes, nil
}

// Reportable reads what a report is made of.
type Reportable interface {
	store.Runs
	store.Readings
	store.AnalysisRuns
}

// ReportInput gathers what a report is made of: the runs that the filter selects, what
// the analysis says of those that count, and the course of some.
func ReportInput(ctx context.Context, s Reportable, q ReportRequest) (report.Input, error) {
	in := report.Input{Frames: q.Frames}
	x, err := Select(ctx, s, q.Filter, q.Lower)
	if err != nil {
		return in, err
	}
	records, err := s.Records(ctx, q.Filter)
	if err != nil {
		return in, err
	}
	in.Runs, in.Measured = listedRuns(records), measured(records)
	q.Questions.SwitchedOff = x.SwitchedOff
	if q.AllDevices {
		if q.Questions.All, err = allDevices(ctx, s, q, x.Runs); err != nil {
			return in, err
		}
	}
	if in.Study, err = report.Ask(x.Runs, q.Questions); err != nil {
		return in, err
	}
	var tidy bytes.Buffer
	if err := exporter.WriteTidy(&tidy, in.Runs); err != nil {
		return in, err
	}
	in.Tidy = tidy.Bytes()
	in.Devices = deviceFacts(x.Runs)
	in.Traces, err = traces(ctx, s, in.Runs, q.Runs)
	return in, err
}

// allDevices are the selected runs of all devices.
func allDevices(ctx context.Context, s store.AnalysisRuns, q ReportRequest, selected []run.Run) ([]run.Run, error) {
	if q.Filter.Device == "" {
		return selected, nil
	}
	q.Filter.Device = ""
	all, err := Select(ctx, s, q.Filter, q.Lower)
	return all.Runs, err
}

// deviceFacts gathers what each device said of itself over all runs, but for the ids of
// machines: a page that is published names none, hidden or not.
func deviceFacts(runs []run.Run) []report.Device {
	facts := map[string]map[string][]string{}
	for i := range runs {
		r := &runs[i]
		if facts[r.Device] == nil {
			facts[r.Device] = map[string][]string{}
		}
		for name, value := range r.Facts {
			if name == run.FactHardwareID || name == run.FactSystemID {
				continue
			}
			if !slices.Contains(facts[r.Device][name], value) {
				facts[r.Device][name] = append(facts[r.Device][name], value)
			}
		}
	}
	var list []report.Device
	for _, name := range slices.Sorted(maps.Keys(facts)) {
		list = append(list, report.Device{Name: name, Facts: facts[name]})
	}
	return list
}
