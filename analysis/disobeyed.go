package analysis

import (
	"fmt"
	"slices"
	"strings"
)

// findingDisobeyed is the code of the agent's finding that the measured power was
// not that of the setting.
const findingDisobeyed = "setting_disobeyed"

// disobeyedNotes says at which settings most runs of a side did not keep to the
// setting: at equal set watts the sides then drew different power.
func disobeyedNotes(s *side, name string) []string {
	runs := s.runs
	var places []string
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
		place := cell.Name
		if place == "" {
			place = fmt.Sprintf("%.4g W", cell.SettingW)
		}
		if known > 0 {
			place += fmt.Sprintf(" (drew %.3g W)", power/float64(known))
		}
		places = append(places, place)
	}
	if len(places) == 0 {
		return nil
	}
	return []string{fmt.Sprintf("%s did not keep to its setting at %s: equal settings are not equal power there; --at package compares at equal measured watts", name, strings.Join(places, ", "))}
}
