package analysis

import "fmt"

// leftOutNotes says how many runs could not be used, and why.
func leftOutNotes(left LeftOut, quantity string) []string {
	var notes []string
	for _, l := range []struct {
		count int
		why   string
	}{
		{left.Missing, "without " + quantity},
		{left.Unusable, quantity + " not finite, zero or negative"},
		{left.Setting, "set watts not finite, zero or negative"},
	} {
		if l.count > 0 {
			notes = append(notes, fmt.Sprintf("%s left out: %s", counted(l.count, "run"), l.why))
		}
	}
	return notes
}

// counted is a number with its noun: "1 run", "2 runs".
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// noiseNotes says where a noise comes from that repeats alone did not settle.
func noiseNotes(n Noise) []string {
	if text := noiseText[n.Source]; text != "" {
		return []string{text}
	}
	return nil
}

var noiseText = map[NoiseSource]string{
	NoisePooledRoughness: "few repeats: the noise is estimated from them and from the roughness of the curve",
	NoiseRoughness:       "no repeats: the noise is estimated from the roughness of the curve alone, which a dip or a kink makes too large",
	NoiseDeclared:        "no repeats: the noise is the declared one",
	NoiseNone:            "neither repeats nor enough settings to estimate the noise: no intervals; repeat each setting at least twice",
}

// nonNil makes a missing list an empty one.
func nonNil[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// flaggedRuns names the runs that differ from their repeats.
func flaggedRuns(runs []Run, cells []Cell, noise Noise) []FlaggedRun {
	flagged := []FlaggedRun{}
	for _, f := range noise.Flagged {
		flagged = append(flagged, FlaggedRun{runs[f.Run].ID, Number(cells[f.Cell].SettingW), cells[f.Cell].Name})
	}
	return flagged
}
