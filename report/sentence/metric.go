package sentence

import (
	"slices"
	"strings"
)

// metrics has words for the names of results: those that frame logs give (package frames),
// and those that people often type. A name that means one thing here and another there, such
// as fps_low, is not among them.
var metrics = []struct {
	words string
	names []string
}{
	{"mean frame rate", []string{"fps_mean", "fps_avg", "fps_average", "mean_fps", "avg_fps", "average_fps"}},
	{"median frame rate", []string{"fps_median", "median_fps"}},
	{"frame rate", []string{"fps", "frame_rate", "framerate"}},
	{"lowest frame rate", []string{"fps_min", "min_fps"}},
	{"highest frame rate", []string{"fps_max", "max_fps"}},
	{"1 % low of the frame rate", []string{"fps_p1", "fps_p1_low", "fps_1pct", "fps_1pct_low", "fps_low_1pct", "fps_1%_low"}},
	{"0.1 % low of the frame rate", []string{"fps_p0.1", "fps_p01", "fps_p0.1_low", "fps_0.1pct", "fps_0.1pct_low", "fps_low_0.1pct", "fps_0.1%_low"}},
	{"mean frame rate of the slowest 1 % of frames", []string{"fps_slowest_1pct_mean"}},
	{"frame rate that all but the slowest 1 % of frames reach", []string{"fps_slowest_1pct_edge"}},
	{"mean frame rate of the slowest 0.1 % of frames", []string{"fps_slowest_0.1pct_mean"}},
	{"frame rate that all but the slowest 0.1 % of frames reach", []string{"fps_slowest_0.1pct_edge"}},
	{"mean frame time", []string{"frame_ms", "frame_ms_mean", "frame_time", "frame_time_mean", "frametime", "frametime_mean", "mean_frame_time"}},
	{"frame time that 95 % of frames keep to", []string{"frame_ms_p95", "frame_time_p95", "frametime_p95"}},
	{"frame time that 99 % of frames keep to", []string{"frame_ms_p99", "frame_time_p99", "frametime_p99"}},
	{"longest frame time", []string{"frame_ms_max", "frame_time_max", "frametime_max"}},
	{"time taken", []string{"time_taken", "duration", "duration_s", "seconds", "time", "time_s", "elapsed", "elapsed_s"}},
	{"score", []string{"score", "points"}},
	{"multi-core score", []string{"score_multi", "multi_score", "multicore", "multi_core"}},
	{"single-core score", []string{"score_single", "single_score", "singlecore", "single_core"}},
}

// slowFrames leads the name of the share of slow frames, which ends in their threshold.
const slowFrames = "slow_frames_over_"

// MetricName is what a result is in words ("mean frame rate"); a name that is not known
// stays as it was typed, with spaces for underscores.
func MetricName(name string) string {
	key := strings.NewReplacer("-", "_", " ", "_").Replace(strings.ToLower(name))
	for _, m := range metrics {
		if slices.Contains(m.names, key) {
			return m.words
		}
	}
	if ms, found := strings.CutSuffix(strings.TrimPrefix(key, slowFrames), "ms"); found && strings.HasPrefix(key, slowFrames) {
		return "share of frames slower than " + ms + " ms"
	}
	return strings.ReplaceAll(name, "_", " ")
}

// MetricWords is what a result is in words, with its unit: "mean frame rate, fps",
// "time taken, s", "tiles, 1/s".
func MetricWords(name, unit string) string { return Joined(MetricName(name), unitWord(unit)) }

// unitWord is a unit as it stands behind a comma: a ratio has none.
func unitWord(unit string) string {
	if unit == "ratio" {
		return ""
	}
	return unit
}
