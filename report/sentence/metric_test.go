package sentence

import "testing"

func TestMetricsHaveWordsWithTheirUnit(t *testing.T) {
	for _, c := range []struct{ name, unit, want string }{
		{"fps_mean", "fps", "mean frame rate, fps"},
		{"FPS-Mean", "fps", "mean frame rate, fps"},
		{"avg fps", "fps", "mean frame rate, fps"},
		{"fps", "", "frame rate"},
		{"fps_p1 low", "fps", "1 % low of the frame rate, fps"},
		{"duration", "s", "time taken, s"},
		{"score", "points", "score, points"},
		{"slow_frames_over_33.3333ms", "ratio", "share of frames slower than 33.3333 ms"},
		{"slow_frames_over_", "ratio", "slow frames over "},
		{"Tiles_v2", "1/s", "Tiles v2, 1/s"}, // as it was typed, but for the underscores
		{"", "", ""},
	} {
		if got := MetricWords(c.name, c.unit); got != c.want {
			t.Errorf("MetricWords(%q, %q) = %q, want %q", c.name, c.unit, got, c.want)
		}
	}
}
