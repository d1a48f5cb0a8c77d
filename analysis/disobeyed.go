package analysis

import "slices"

// findingDisobeyed is the code of the agent's finding that the measured power was
// not that of the setting.
const findingDisobeyed = "setting_disobeyed"

// disobeyedNotes says at which settings most runs of a side did not keep to the
// setting: at equal set watts the sides then drew different power.
func disobeyedNotes(s *side, name string) []Note {
	runs := s.runs
	var places []DisobeyedSetting
	for _, cell := range s.cells {
		count, power, known := 0, 0.0, 0
		for _, i := range cell.Runs {
			if !slices.Contains(runs[i].Findings, findingDisobeyed) {
				continue
			}
			count++
			if w, ok := PackagePower(&runs[i]); ok {
				power += w
				known++
			}
		}
		if 2*count <= len(cell.Runs) {
			continue
		}
		drew := Unknown()
		if known > 0 {
			drew = Number(power / float64(known))
		}
		places = append(places, DisobeyedSetting{Number(cell.SettingW), cell.Name, drew})
	}
	if len(places) == 0 {
		return nil
	}
	return []Note{Disobeyed{name, places}}
}
