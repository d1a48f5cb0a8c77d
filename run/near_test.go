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
