package testday

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"sweepd/frames"
	"sweepd/internal/userfile"
	"sweepd/run"
)

// DefaultSlow is the frame time above which a frame is slow unless said: 1/30 s
// (common practice, no source).
const DefaultSlow = 33333 * time.Microsecond

// largestFrames is how many bytes a file of frame times may have: frames.Most rows of 80.
const largestFrames = 8 << 30

// FrameFile is a file of frame times that was opened and found to be one.
type FrameFile struct {
	*frames.Reader
	in         *userfile.Input
	timestamps bool
}

// Notes are sentences that say how the file is read where that is not plain.
func (f *FrameFile) Notes() []string {
	var notes []string
	switch n := f.Preamble(); {
	case n == 1:
		notes = append(notes, "one line before the heading is left out")
	case n > 1:
		notes = append(notes, fmt.Sprintf("%d lines before the heading are left out", n))
	}
	if f.Unit() == frames.Rate {
		notes = append(notes, "the column holds rates (fps), one for each frame: a frame's time is 1 / its rate")
	}
	return notes
}

// OpenFrames reads the file as far as its first row, so that a slip in how to read it
// shows before anything happens. "-" is standard input.
func OpenFrames(ctx context.Context, path string, stdin io.Reader, o frames.Options) (f *FrameFile, err error) {
	f = &FrameFile{}
	o.File = path
	if path == "-" {
		o.File = "standard input"
		f.in = userfile.NewInput(ctx, stdin, o.File, largestFrames)
	} else if f.in, err = userfile.Open(ctx, path, largestFrames); err != nil {
		return nil, fmt.Errorf("frame times: %w", err)
	}
	if f.Reader, err = frames.NewReader(f.in, o); err != nil {
		var column *frames.ColumnError
		if errors.As(err, &column) {
			if near := run.Near(column.Column, column.Columns); near != "" {
				err = fmt.Errorf("%w: did you mean %s?", err, near)
			}
		}
		return nil, errors.Join(err, f.in.Close())
	}
	f.timestamps = o.Timestamps
	return f, nil
}

// Size is the file's size in bytes, 0 where it is unknown.
func (f *FrameFile) Size() int64 { return f.in.Size() }

// Close gives the file back.
func (f *FrameFile) Close() error { return f.in.Close() }

// FrameResults are the results that frame times make.
type FrameResults struct {
	Results Results
	FramesS float64 // the time that they cover, s
	Frames  int64
	Unit    string // of the file: s, ms, us, ns or fps; "" where unknown
	// Timestamps tells that the file holds the times at which frames came.
	Timestamps bool
	// Rounded tells that percentiles and slowest shares are not exact, but rounded to
	// frames.Resolution.
	Rounded bool
}

// Results reads the whole file and closes it. slow is the frame time above which a
// frame is slow; progress is told how many bytes have been read, at most Size.
func (f *FrameFile) Results(slow time.Duration, progress func(read int64)) (r FrameResults, err error) {
	s, err := f.Summary(slow.Seconds(), func(int64) { progress(min(f.in.Bytes(), f.in.Size())) })
	if err := errors.Join(err, f.in.Close()); err != nil {
		return r, err
	}
	r = FrameResults{Results: Results{}, FramesS: s.TotalS, Frames: s.Frames, Unit: string(f.Unit()), Timestamps: f.timestamps, Rounded: s.Rounded}
	for _, x := range s.Results() {
		better := run.Higher
		if x.Lower {
			better = run.Lower
		}
		r.Results[x.Name] = run.Result{Value: x.Value, Unit: x.Unit, Better: better}
	}
	return r, nil
}
