package main

import (
	"archive/tar"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"sweepd/report"
	"sweepd/testday"
)

// reportFlags say what a report is about and how it is written.
type reportFlags struct {
	analysisFlags
	out       string
	png       bool
	shapes    []string
	published report.Publication
	runs      []string
	metrics   []string
	reference string
	all       bool
	margin    ratioFlag
	full      energiesFlag
	reserve   ratioFlag
	prices    pricesFlag
	frames    frameSets
}

func (a *app) reportCommand() *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report --out DIR",
		Short: "Write charts, tables and sentences as a page to publish",
		Long: `Write a report of the selected runs: DIR/report.html, one file that opens without
a network and prints on A4, and every chart as SVG, light and dark, in DIR/charts.
--png adds pictures for videos, 1920x1080 and 3840x2160; --shape square and --shape
upright those for phones. Single runs are drawn where --run names them, else those with
the worst findings. --title, --credit and --conditions are the publisher's own words.`,
		Example: `  sweepd report --out report
  sweepd report --out report --png --workload harbour-flight --full-energy 48.6Wh
  sweepd report --out report --device unit-oak --all-devices
  sweepd report --out report --price unit-oak=749EUR --price unit-elm=549EUR
  sweepd report --out report --shape wide,upright --credit "Harbour Lab, May 2026"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.out == "" {
				return misused(fmt.Errorf("where shall the report go? Give --out DIR"))
			}
			if err := isFolder(f.out); err != nil {
				return err
			}
			written, err := a.writeReport(cmd.Context(), &f)
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(map[string]any{"page": written.Page, "files": written.Files, "claims": written.Claims})
			}
			_, err = fmt.Fprintf(a.shown(), "%s and %d pictures\n", written.Page, written.Files-1)
			return err
		},
	}
	f.analysisFlags.add(cmd, false)
	cmd.Flags().StringVar(&f.out, "out", "", "`DIR` to write into; a former report there is replaced")
	cmd.Flags().BoolVar(&f.png, "png", false, "also write every chart as PNG, 1920x1080 and 3840x2160, light and dark")
	cmd.Flags().StringSliceVar(&f.shapes, "shape", nil, "`SHAPE` of PNG files, which it asks for: wide (16:9), square or upright (9:16), with commas between several (default wide)")
	cmd.Flags().StringVar(&f.published.Title, "title", "", "`TEXT` that is the page's title; unless given, the configuration's, else what was tested")
	cmd.Flags().StringVar(&f.published.Credit, "credit", "", "`TEXT` beneath every chart, such as who made it; unless given, the configuration's")
	cmd.Flags().StringVar(&f.published.Conditions, "conditions", "", "`TEXT` beneath every chart on how was tested, such as the room; unless given, the configuration's")
	cmd.Flags().StringArrayVar(&f.runs, "run", nil, "`RUN` whose course is drawn (repeatable); unless given, those with the worst findings")
	cmd.Flags().StringArrayVar(&f.metrics, "metric", nil, "`NAME` of a result (repeatable); unless given, of each workload the one that most of its runs have")
	cmd.Flags().StringArrayVar(&f.lower, "lower", nil, "`NAME` of a result of which less is better (repeatable)")
	cmd.Flags().StringVarP(&f.reference, "b", "b", "", "`DEVICE` that the others are compared with, where there are more than two (default: the best on the whole)")
	cmd.Flags().BoolVar(&f.all, "all-devices", false, "rank all devices tested so far against --b, or against the device that --device selects")
	f.frames.add(cmd)
	cmd.Flags().Var(&f.margin, "margin", "difference that does not matter (default 2%)")
	cmd.Flags().Var(&f.full, "full-energy", "`[DEVICE=]Wh` that the battery holds when full (repeatable); unless given, what the device says")
	cmd.Flags().Var(&f.reserve, "reserve", "`SHARE` of the full energy that the runtime keeps back, such as 5% (default 0%: until it is empty)")
	cmd.Flags().Var(&f.prices, "price", "`DEVICE=AMOUNT` that a device costs, such as unit-oak=749EUR (repeatable); unless given, the configuration's prices")
	return cmd
}

// writeReport asks for the page and the charts, and writes them.
func (a *app) writeReport(ctx context.Context, f *reportFlags) (w report.Written, err error) {
	q := testday.ReportQuestion{AnalysisRequest: f.request(), Metrics: f.metrics, Run: f.runs, B: f.reference, AllDevices: f.all, Margin: f.margin.pointer(),
		FullEnergy: f.full, Reserve: f.reserve.value, Price: f.prices, PNG: f.png, Shape: f.shapes,
		Title: f.published.Title, Credit: f.published.Credit, Conditions: f.published.Conditions,
		FrameColumn: f.frames.reader.column, FrameUnit: f.frames.reader.unit, FrameTimestamps: f.frames.reader.timestamps, FrameDelimiter: f.frames.reader.delimiter.value}
	if _, err := q.Filter(time.Now()); err != nil {
		return w, err
	}
	if _, _, err := q.Published(); err != nil {
		return w, misused(err)
	}
	a.hintNames(ctx, q.Named())
	op, sent := testday.DrawReport, bytesOf{}
	if len(f.frames.named) > 0 {
		op = testday.DrawReportOfFrames
		if sent.in, err = f.frames.archive(ctx); err != nil {
			return w, err
		}
	}
	if f.png {
		bar := progress(a.err, -1, "drawing")
		defer func() { _ = bar.Finish() }()
		sent.progress = func(done, total int) {
			bar.ChangeMax(total)
			_ = bar.Set(done)
		}
	}
	folder := report.Folder{Dir: f.out}
	from, to := io.Pipe()
	sent.out = to
	written := make(chan error, 1)
	go func() {
		err := writeFiles(ctx, &folder, from)
		_ = from.CloseWithError(err) // the rest is not wanted
		written <- err
	}()
	_, err = callWith(ctx, a, op, q, sent)
	_ = to.CloseWithError(err)
	if failed := <-written; failed != nil && !errors.Is(failed, err) {
		err = failed
	}
	return folder.Written, err
}

// writeFiles writes the files of a report that come as an archive.
func writeFiles(ctx context.Context, folder *report.Folder, archive io.Reader) error {
	for in := tar.NewReader(archive); ; {
		h, err := in.Next()
		if errors.Is(err, io.EOF) {
			_, err = io.Copy(io.Discard, archive) // what pads it
			return err
		}
		if err != nil {
			return err
		}
		text, err := io.ReadAll(in)
		if err != nil {
			return err
		}
		if err := folder.Write(ctx, h.Name, text); err != nil {
			return err
		}
	}
}
