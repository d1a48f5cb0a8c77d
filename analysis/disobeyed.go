package analysis

import "sweepd/run"

// DisobeyedPower tells whether most runs of a cell did not keep to its setting, by the
// finding of the agent, and the mean package power in watts that those drew; it is
// unknown where none of them measured it.
func DisobeyedPower(runs []*run.Run) (watts Number, disobeyed bool) {
	count, power, known := 0, 0.0, 0
	for _, r := range runs {
		if !r.HasFinding(run.SettingDisobeyed) {
			continue
		}
		count++
		if w, ok := packagePower(r); ok {
			power += w
			known++
		}
	}
	if 2*count <= len(runs) {
		return Unknown(), false
	}
	if known == 0 {
		return Unknown(), true
	}
	return Number(power / float64(known)), true
}

// disobeyedNotes says at which settings a side did not keep to the setting, by the
// findings of most of its runs or because it is outside the range that the side follows: at
// equal set watts the sides then drew different power.
func disobeyedNotes(s *side, name string) []Note {
	runs, keeps := s.runs, s.keeps()
	var places []DisobeyedSetting
	for _, sample := range s.samples {
		members := make([]*run.Run, len(sample.runs))
		for k, i := range sample.runs {
			members[k] = &runs[i]
		}
		drew, disobeyed := DisobeyedPower(members)
		if kept := keeps(sample.watts); !disobeyed && kept != nil && !*kept {
			mean, _ := meanPower(runs, sample, packagePower)
			drew, disobeyed = Number(mean), true
		}
		if disobeyed {
			places = append(places, DisobeyedSetting{Number(sample.watts), sample.name, drew})
		}
	}
	if len(places) == 0 {
		return nil
	}
	return []Note{{Code: NoteSettingsDisobeyed, Side: name, At: places}}
}
