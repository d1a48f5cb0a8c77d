package analysis

import (
	"reflect"
	"slices"

	"sweepd/run"
)

// addNote adds a note unless it was made before.
func addNote(list *[]Note, n Note) {
	if !slices.ContainsFunc(*list, func(old Note) bool { return reflect.DeepEqual(old, n) }) {
		*list = append(*list, n)
	}
}

// leftOutNotes says how many runs of a side could not be used, and why.
func leftOutNotes(side string, left leftOut, metric string, watts ...string) []Note {
	var notes []Note
	if slices.Contains(watts, AtSystem) {
		notes = countNote(NotePowerUnclear, side, left.weak)
		left.missing -= left.weak
	}
	for _, l := range []struct {
		count int
		why   NoteCode
	}{{left.missing, NoteQuantityMissing}, {left.unusable, NoteQuantityUnusable}, {left.setting, NoteSettingUnusable}} {
		if l.count > 0 {
			notes = append(notes, Note{Code: l.why, Side: side, Count: l.count, Metric: metric, Watts: watts})
		}
	}
	return notes
}

// countNote is a note of so many runs, none of no run.
func countNote(code NoteCode, side string, runs int) []Note {
	if runs == 0 {
		return nil
	}
	return []Note{{Code: code, Side: side, Count: runs}}
}

// keptInterrupted tells of a run that it was interrupted and kept.
func keptInterrupted(r *run.Run) bool { return r.HasFinding(run.KeptInterrupted) }

// unlikeRepeatsNotes counts the runs that differ from their repeats.
func unlikeRepeatsNotes(noises ...noiseEstimate) []Note {
	n := 0
	for i := range noises {
		n += len(noises[i].outliers)
	}
	return countNote(NoteUnlikeRepeats, "", n)
}

// noiseNotes says where a side's noise comes from unless repeats alone settled it.
func noiseNotes(side string, n noiseEstimate) []Note {
	if code, ok := noteOfNoise[n.source]; ok {
		return []Note{{Code: code, Side: side}}
	}
	return nil
}

var noteOfNoise = map[NoiseSource]NoteCode{
	NoisePooledRoughness: NoteNoiseFewRepeats,
	NoiseRoughness:       NoteNoiseNoRepeats,
	NoiseDeclared:        NoteNoiseDeclared,
	NoiseNone:            NoteNoiseUnknown,
}

// nonNil makes a missing list an empty one.
func nonNil[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// flaggedRuns names the runs that differ from their repeats.
func flaggedRuns(runs []run.Run, samples []sample, noise noiseEstimate) []FlaggedRun {
	flagged := []FlaggedRun{}
	for _, f := range noise.outliers {
		sample := samples[f.setting]
		flagged = append(flagged, FlaggedRun{runs[f.run].ID, Number(sample.watts), sample.name, sample.n()})
	}
	return flagged
}
