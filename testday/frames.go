package testday

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"sweepd/frames"
	"sweepd/run"
)

// DefaultSlow is the frame time above which a frame is slow unless said: 1/30 s
// (common practice, no source).
const DefaultSlow = 33333 * time.Microsecond

// FrameFile is a file of frame times that was opened and found to be one.
type FrameFile struct {
	*frames.Reader
	close func() error
	size  int64
	read  *countingReader
}

// OpenFrames reads the file as far as its first row, so that a slip in how to read it
// shows before anything happens. "-" is standard input.
func OpenFrames(path string, stdin io.Reader, o frames.Options) (*FrameFile, error) {
	f := &FrameFile{close: func() error { return nil }, read: &countingReader{r: stdin}}
	o.File = path
	if path == "-" {
		o.File = "standard input"
	} else {
		opened, err := os.Open(path)
		if err != nil {
			return nil, fmt.Errorf("frame times: %w", err)
		}
		f.close, f.read.r = opened.Close, opened
		if info, err := opened.Stat(); err == nil {
			f.size = info.Size()
		}
	}
	var err error
	if f.Reader, err = frames.NewReader(f.read, o); err != nil {
		return nil, errors.Join(err, f.close())
	}
	return f, nil
}

// countingReader counts the bytes that were read.
type countingReader struct {
	r io.Reader
	n int64
}

func (c *countingReader) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// Size is the file's size in bytes, 0 where it is unknown.
func (f *FrameFile) Size() int64 { return f.size }

// Close gives the file back.
func (f *FrameFile) Close() error { return f.close() }

// FrameResults are the results that frame times make.
type FrameResults struct {
	Results Results
	FramesS float64 // the time that they cover, s
	Frames  int64
	// Rounded tells that percentiles and slowest shares are not exact, but rounded to
	// frames.Resolution.
	Rounded bool
}

// Results reads the whole file and closes it. slow is the frame time above which a
// frame is slow; progress is told how many bytes have been read, at most Size.
func (f *FrameFile) Results(slow time.Duration, progress func(read int64)) (r FrameResults, err error) {
	s, err := f.Summary(slow.Seconds(), func(int64) { progress(min(f.read.n, f.size)) })
	if err := errors.Join(err, f.close()); err != nil {
		return r, err
	}
	r = FrameResults{Results: Results{}, FramesS: s.TotalS, Frames: s.Frames, Rounded: s.Rounded}
	for _, x := range s.Results() {
		better := run.Higher
		if x.Lower {
			better = run.Lower
		}
		r.Results[x.Name] = run.Result{Value: x.Value, Unit: x.Unit, Better: better}
	}
	return r, nil
}
