package testday

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"sweepd/frames"
	"sweepd/run"
)

func recordingAgent() *fakeAgent {
	return &fakeAgent{recording: &run.Run{ID: "019a0000-0001", Labels: run.Labels{Workload: "tile-sort"}}}
}

func TestStop(t *testing.T) {
	f := recordingAgent()
	d, err := Stop(t.Context(), f, run.Stop{Results: map[string]run.Result{"fps": {Value: 3}}, Note: "n"})
	if err != nil || d.State != run.Finished || d.Discharge == nil || d.Facts == nil || d.Summaries == nil || d.Findings == nil || f.stopped.Results["fps"].Value != 3 {
		t.Errorf("%+v, %v", d, err)
	}
	if _, err := Stop(t.Context(), &fakeAgent{err: errAway}, run.Stop{}); !errors.Is(err, errAway) {
		t.Errorf("away: %v", err)
	}
}

func writeFile(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// 190 frames of 10 ms and 10 of 40 ms are 2.3 s (by hand).
func framesText() string {
	text := "frame_ms\n"
	for i := range 200 {
		ms := "10\n"
		if i%20 == 7 {
			ms = "40\n"
		}
		text += ms
	}
	return text
}

func TestFrames(t *testing.T) {
	text := framesText()
	file, err := OpenFrames(t.Context(), writeFile(t, "frames.csv", text), nil, frames.Options{})
	if err != nil || file.Size() != int64(len(text)) {
		t.Fatalf("%+v, %v", file, err)
	}
	read := int64(-1)
	r, err := file.Results(30*time.Millisecond, func(n int64) { read = n })
	if err != nil || r.Frames != 200 || r.FramesS < 2.2999 || r.FramesS > 2.3001 || r.Rounded || read > int64(len(text)) {
		t.Errorf("%+v, %v, %d bytes read", r, err, read)
	}
	if x := r.Results["slow_frames_over_30ms"]; x.Value != 0.05 || x.Better != run.Lower {
		t.Errorf("slow frames: %+v in %v", x, r.Results)
	}
	if x := r.Results["fps_median"]; x.Value != 100 || x.Better != run.Higher || x.Unit == "" {
		t.Errorf("median: %+v", x)
	}
	if file, err = OpenFrames(t.Context(), "-", strings.NewReader(text), frames.Options{}); err != nil || file.Size() != 0 {
		t.Fatalf("standard input: %v", err)
	}
	if r, err := file.Results(DefaultSlow, func(n int64) { read = n }); err != nil || r.Frames != 200 || read > 0 {
		t.Errorf("standard input: %+v, %v, %d bytes of none", r, err, read)
	}
	if _, err := OpenFrames(t.Context(), "-", strings.NewReader(""), frames.Options{}); err == nil || !strings.Contains(err.Error(), "standard input") {
		t.Errorf("empty: %v", err)
	}
	if _, err := OpenFrames(t.Context(), "/no/such/file", nil, frames.Options{}); !errors.Is(err, os.ErrNotExist) || !strings.HasPrefix(err.Error(), "frame times: ") {
		t.Errorf("no file: %v", err)
	}
	if file, err = OpenFrames(t.Context(), writeFile(t, "bad.csv", "frame_ms\n10\nx\n"), nil, frames.Options{}); err != nil {
		t.Fatal(err)
	}
	if r, err := file.Results(DefaultSlow, func(int64) {}); err == nil || r.Results != nil {
		t.Errorf("a bad row: %+v, %v", r, err)
	}
	if err := file.Close(); !errors.Is(err, os.ErrClosed) {
		t.Errorf("the file was left open: %v", err)
	}
}

func TestStopWithFrames(t *testing.T) {
	var ended *EndedError
	f := recordingAgent()
	results := FrameResults{FramesS: 2.3, Results: Results{"fps": {Value: 100}}}
	d, err := StopWithFrames(t.Context(), f, run.Stop{Note: "n"}, func() (FrameResults, error) {
		if f.recording != nil {
			t.Error("frames are read while the run goes on")
		}
		return results, nil
	})
	if err != nil || d.Results["fps"].Value != 100 || d.Facts == nil || f.frames.FramesS != 2.3 || f.stopped.Note != "n" {
		t.Errorf("%+v, %v", d, err)
	}
	f = recordingAgent()
	if _, err := StopWithFrames(t.Context(), f, run.Stop{}, func() (FrameResults, error) { return results, errDisk }); err == nil ||
		!strings.HasSuffix(err.Error(), "; give the result with `sweepd run result 000-0001 --frames FILE`: disk full") || f.frames.Results != nil {
		t.Errorf("a bad file: %v", err)
	}
	typed := map[string]run.Result{"score": {Value: 7}, "fps": {Value: 99}}
	f = recordingAgent()
	if d, err := StopWithFrames(t.Context(), f, run.Stop{Results: typed}, func() (FrameResults, error) { return results, nil }); err != nil ||
		len(f.stopped.Results) != 0 || len(f.frames.Results) != 2 || d.Results["fps"].Value != 99 || results.Results["fps"].Value != 100 {
		t.Errorf("all results at once: stopped with %v, then %v, %v", f.stopped.Results, f.frames.Results, err)
	}
	f = recordingAgent()
	if _, err := StopWithFrames(t.Context(), f, run.Stop{Results: typed}, func() (FrameResults, error) { return results, errDisk }); !errors.As(err, &ended) ||
		len(f.ended.Results) != 2 || f.frames.Results != nil {
		t.Errorf("a bad file: what was typed is kept: %v, %v", f.ended.Results, err)
	}
	f = recordingAgent()
	if _, err := StopWithFrames(t.Context(), f, run.Stop{}, func() (FrameResults, error) { f.err = errAway; return results, nil }); !errors.As(err, &ended) || !strings.HasSuffix(err.Error(), "--frames FILE`: no agent answers") {
		t.Errorf("the agent went away: %v", err)
	}
	f = &fakeAgent{err: errAway}
	if _, err := StopWithFrames(t.Context(), f, run.Stop{}, func() (FrameResults, error) { t.Error("read"); return results, nil }); !errors.Is(err, errAway) || strings.Contains(err.Error(), "kept") {
		t.Errorf("not stopped: %v", err)
	}
}
