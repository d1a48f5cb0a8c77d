package report

import (
	"fmt"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// withConditions puts what the devices told of their conditions behind the first method.
// What no run tells is not there to be said.
func withConditions(list []Method, devices []Device) []Method {
	var parts []string
	for _, d := range devices {
		told := map[string][]string{}
		for key, values := range d.Facts {
			if analysis.IsCondition(key) {
				told[key] = slices.Sorted(slices.Values(values))
			}
		}
		var said []string
		for _, f := range sentence.Facts(told) {
			said = append(said, f.Name+" "+f.Value)
		}
		if len(said) > 0 {
			parts = append(parts, fmt.Sprintf("%s: %s.", d.Name, strings.Join(said, ", ")))
		}
	}
	if len(parts) == 0 {
		return list
	}
	text := "What can change the draw from run to run, as it was when the runs began; several values were in force in different runs. " + strings.Join(parts, " ")
	return slices.Insert(list, 1, Method{"Conditions", text, "the devices' own word, and for the room, a version and a refresh rate what a person typed"})
}
