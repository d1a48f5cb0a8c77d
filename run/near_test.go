package run

import "testing"

func TestNear(t *testing.T) {
	known := []string{"harbour-flight", "tile-sort", "cores6", "fps_mean", "fan", "quiet"}
	for word, want := range map[string]string{
		"harbor-flight": "harbour-flight", "Harbour_Flight": "harbour-flight", "harbour flight": "harbour-flight",
		"harbuor-flight": "harbour-flight", "tilesort": "tile-sort", "fps-mean": "fps_mean", "fps_maen": "fps_mean", "quite": "quiet",
		"quit": "quiet", "fam": "fan", "for": "", "tile-sort": "", "cores8": "", "core6": "cores6", "night-drive": "", "": "",
	} {
		if got := Near(word, known); got != want {
			t.Errorf("near %q is %q, want %q", word, got, want)
		}
	}
}

func TestNearName(t *testing.T) {
	for _, pair := range [][2]string{
		{"harbor-flight", "harbour-flight"}, {"Harbour-Flight", "harbour-flight"}, {"harbour flight", "harbour-flight"}, {"harbourflight", "harbour-flight"},
		{"harborflight", "harbour-flight"}, {"harbour-fligth", "harbour-flight"}, {"ahrbour-flight", "harbour-flight"}, {"harbuor-flihgt", "harbour-flight"},
		{"tile-srot", "tile-sort"}, {"tilesort", "tile-sort"}, {"tile-sort-22", "tile_sort_22"}, {"TileSort", "tile-sort"}, {"core", "cores"}, {"quite", "quiet"},
		{"fps_men", "fps_mean"}, {"FPS_mean", "fps_mean"}, {"unit-aok", "unit-oak"}, {"unit-oaak", "unit-oak"}, {"unti-oak", "unit-oak"}, {"performence", "performance"},
		{"vairant-day", "variant-day"}, {"scenes", "scene"}, {"of", "off"},
	} {
		if got := NearName(pair[0], []string{"other", pair[1]}); got != pair[1] {
			t.Errorf("%s: %q, want %s", pair[0], got, pair[1])
		}
	}
	// Names that people give side by side.
	for _, family := range [][]string{
		{"tile-sort-2", "tile-sort-3", "tile-sort", "tile-sort-a", "tile-sort-b", "tile-sort-22"}, {"v1.2", "v1.3", "v12"}, {"scene-i", "scene-ii", "scene-iii", "scene-iv"},
		{"unit-oak", "unit-elm", "unit-ash", "unit-fir", "unit-a", "unit-b", "unit-oak-b"}, {"sceneA", "sceneB", "scenea-day", "sceneb-day"}, {"pack-a", "pack-b"},
		{"cpu-sort", "gpu-sort"}, {"day-flight", "bay-flight"}, {"night-flight", "light-flight"}, {"on", "off"}, {"low", "slow"}, {"in", "on"}, {"min", "max"},
		{"fps_mean", "fps_median", "fps_min", "fps_max"}, {"fps_slowest_1pct_edge", "fps_slowest_1pct_mean", "fps_slowest_0.1pct_mean"}, {"frame_ms_p95", "frame_ms_p99", "frame_ms_max"},
		{"low-power", "cool", "quiet", "balanced", "balanced-performance", "performance", "custom", "max-power"}, {"1080p", "1440p"}, {"6", "8"}, {"plugged", "unplugged"},
		{"posx", "posy", "posz"}, {"warm", "cold"}, {"fast", "last"}, {"read", "write"}, {"cores", "smt", "fan", "pack"}, {"25W", "35W"}, {"a", "b", "aa"},
	} {
		for _, name := range family {
			for _, other := range family {
				if got := NearName(name, []string{other}); got != "" {
					t.Errorf("%s is taken for a slip of %s", name, other)
				}
			}
		}
	}
}
