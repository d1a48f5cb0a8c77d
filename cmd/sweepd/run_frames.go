package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/frames"
	"sweepd/run"
)

// framesFlags name a file of frame times.
type framesFlags struct {
	file, column, unit string
	delimiter          choice
	timestamps         bool
	slow               time.Duration
}

// defaultSlow is the frame time above which a frame is slow unless said: 1/30 s
// (common practice, no source).
const defaultSlow = 33333 * time.Microsecond

func (f *framesFlags) add(cmd *cobra.Command) {
	f.delimiter.words = []string{"comma", "semicolon", "tab", "none"}
	cmd.Flags().StringVar(&f.file, "frames", "", "`FILE` of frame times, delimited text of any kind; - is standard input")
	cmd.Flags().StringVar(&f.column, "frame-column", "", "`NAME` or number of the column with the frame times; unless the file has only one")
	cmd.Flags().StringVar(&f.unit, "frame-unit", "", "`ms|us|s`; unless the column's name ends in it")
	cmd.Flags().BoolVar(&f.timestamps, "frame-timestamps", false, "the column holds the times at which frames came")
	cmd.Flags().Var(&f.delimiter, "frame-delimiter", "what separates columns, where it is not plain")
	cmd.Flags().DurationVar(&f.slow, "slow-frame", defaultSlow, "`TIME` above which a frame counts as slow")
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
	o = frames.Options{File: f.file, Column: f.column, Timestamps: f.timestamps}
	o.Delimiter = map[string]byte{"comma": ',', "semicolon": ';', "tab": '\t', "none": frames.NoDelimiter}[f.delimiter.value]
	if f.file == "-" {
		o.File = "standard input"
	}
	if f.unit != "" {
		o.Unit, err = frames.ParseUnit(f.unit)
	}
	return o, misused(err)
}

// frameFile is a file of frame times that was opened and found to be one.
type frameFile struct {
	*frames.Reader
	close func() error
	size  int64
	read  *counting
}

// open reads the file as far as its first row, so that a slip in the command line
// shows before anything happens.
func (f *framesFlags) open(stdin io.Reader) (*frameFile, error) {
	o, err := f.options()
	if err != nil {
		return nil, err
	}
	file := &frameFile{close: func() error { return nil }, read: &counting{r: stdin}}
	if f.file != "-" {
		opened, err := os.Open(f.file)
		if err != nil {
			return nil, fmt.Errorf("frame times: %w", err)
		}
		file.close, file.read.r = opened.Close, opened
		if info, err := opened.Stat(); err == nil {
			file.size = info.Size()
		}
	}
	if file.Reader, err = frames.NewReader(file.read, o); err != nil {
		return nil, errors.Join(err, file.close())
	}
	return file, nil
}

// counting counts the bytes that were read.
type counting struct {
	r io.Reader
	n int64
}

func (c *counting) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// framesRequest reads the whole file, with progress, and makes results of it.
func (a *app) framesRequest(file *frameFile, slow time.Duration) (console.ResultsRequest, error) {
	bar := progress(a.err, max(int(file.size), -1), "reading frame times")
	s, err := file.Summary(slow.Seconds(), func(int64) { _ = bar.Set64(min(file.read.n, file.size)) })
	_ = bar.Finish()
	if err := errors.Join(err, file.close()); err != nil {
		return console.ResultsRequest{}, err
	}
	q := console.ResultsRequest{Results: map[string]console.ResultMessage{}, FramesS: &s.TotalS}
	for _, r := range s.Results() {
		better := run.Higher
		if r.Lower {
			better = run.Lower
		}
		q.Results[r.Name] = console.ResultMessage{Value: &r.Value, Unit: r.Unit, Better: better}
	}
	if s.Rounded {
		fmt.Fprintf(a.err, "%d frames: percentiles and slowest shares are rounded by up to %.4f %%\n", s.Frames, 100*frames.Resolution)
	}
	return q, nil
}
