package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"sweepd/frames"
	"sweepd/testday"
)

// framesFlags name a file of frame times.
type framesFlags struct {
	file, column, unit string
	delimiter          choiceFlag
	timestamps         bool
	slow               time.Duration
}

func (f *framesFlags) add(cmd *cobra.Command) {
	f.delimiter.words = []string{"comma", "semicolon", "tab", "none"}
	cmd.Flags().StringVar(&f.file, "frames", "", "`FILE` of frame times, delimited text of any kind; - is standard input")
	cmd.Flags().StringVar(&f.column, "frame-column", "", "`COLUMN` with the frame times, by name or number; unless the file has only one")
	cmd.Flags().StringVar(&f.unit, "frame-unit", "", "`ms|us|s|fps`; unless the column's name ends in it; fps: rates, one for each frame")
	cmd.Flags().BoolVar(&f.timestamps, "frame-timestamps", false, "the column holds the times at which frames came")
	cmd.Flags().Var(&f.delimiter, "frame-delimiter", "what separates columns, where it is not plain")
	cmd.Flags().DurationVar(&f.slow, "slow-frame", testday.DefaultSlow, "`TIME` above which a frame counts as slow")
}

// given tells whether there is a file, and whether the flags fit together.
func (f *framesFlags) given(cmd *cobra.Command) (bool, error) {
	if f.file != "" {
		if f.slow <= 0 {
			return false, misused(fmt.Errorf("--slow-frame %v is not above 0", f.slow))
		}
		return true, nil
	}
	for _, name := range []string{"frame-column", "frame-unit", "frame-timestamps", "frame-delimiter", "slow-frame"} {
		if cmd.Flags().Changed(name) {
			return false, misused(fmt.Errorf("--%s says how to read a file of frame times: name it with --frames FILE", name))
		}
	}
	return false, nil
}

func (f *framesFlags) options() (o frames.Options, err error) {
	o = frames.Options{Column: f.column, Timestamps: f.timestamps}
	o.Delimiter = map[string]byte{"comma": ',', "semicolon": ';', "tab": '\t', "none": frames.NoDelimiter}[f.delimiter.value]
	if f.unit != "" {
		o.Unit, err = frames.ParseUnit(f.unit)
	}
	return o, misused(err)
}

// open reads the file as far as its first row.
func (f *framesFlags) open(ctx context.Context, stdin io.Reader) (*testday.FrameFile, error) {
	o, err := f.options()
	if err != nil {
		return nil, err
	}
	return testday.OpenFrames(ctx, f.file, stdin, o)
}

// readFrames reads the whole file, with progress, and makes results of it.
func (a *app) readFrames(file *testday.FrameFile, slow time.Duration) (testday.FrameResults, error) {
	for _, note := range file.Notes() {
		fmt.Fprintln(a.err, note)
	}
	bar := progress(a.err, max(int(file.Size()), -1), "reading frame times")
	r, err := file.Results(slow, func(read int64) { _ = bar.Set64(read) })
	_ = bar.Finish()
	if err == nil && r.Rounded {
		fmt.Fprintf(a.err, "%d frames: percentiles and slowest shares are rounded by up to %.4f %%\n", r.Frames, 100*frames.Resolution)
	}
	return r, err
}
