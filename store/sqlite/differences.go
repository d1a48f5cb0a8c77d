package sqlite

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"

	"sweepd/run"
	"sweepd/store"
)

// differences says how two tellings of one run differ, empty where they agree.
func differences(here, there *run.Record) []string {
	var all []string
	note := func(what string, a, b any) {
		if !reflect.DeepEqual(a, b) {
			all = append(all, fmt.Sprintf("%s: %s here, %s there", what, shown(a), shown(b)))
		}
	}
	note("device", here.Device, there.Device)
	note("workload", here.Workload, there.Workload)
	note("variant", string(here.Variant), string(there.Variant))
	note("supply", string(here.Supply), string(there.Supply))
	note("setting", here.Setting.String(), there.Setting.String())
	note("state", string(here.State), string(there.State))
	note("why", here.Why, there.Why)
	note("note", here.Note, there.Note)
	note("started_at", here.StartedAt.String(), there.StartedAt.String())
	note("duration_s", here.DurationS, there.DurationS)
	note("warmup_s", here.WarmUpS, there.WarmUpS)
	note("whole_s", here.WholeS, there.WholeS)
	note("package_w", here.PackageW, there.PackageW)
	note("system_w", here.SystemW, there.SystemW)
	note("discharge", here.Discharge, there.Discharge)
	note("setting_read", here.SettingRead, there.SettingRead)
	all = append(all, mapDifferences("result", here.Results, there.Results)...)
	all = append(all, mapDifferences("fact", here.Facts, there.Facts)...)
	note("findings", ownFindings(here), ownFindings(there))
	note("summaries", here.Summaries, there.Summaries)
	return all
}

// ownFindings are those that a run has by itself. What it is said to differ from depends on
// the other runs of a file.
func ownFindings(r *run.Record) []run.Finding {
	own := []run.Finding{}
	for _, f := range r.Findings {
		if f.Code != store.Outlying.Code && f.Code != store.ConditionsDiffer.Code {
			own = append(own, f)
		}
	}
	return own
}

// mapDifferences says how the values of two maps differ.
func mapDifferences[V comparable](what string, here, there map[string]V) (all []string) {
	names := maps.Clone(here)
	maps.Copy(names, there)
	for _, name := range slices.Sorted(maps.Keys(names)) {
		a, inHere := here[name]
		b, inThere := there[name]
		switch {
		case !inHere:
			all = append(all, fmt.Sprintf("%s %s: only there", what, name))
		case !inThere:
			all = append(all, fmt.Sprintf("%s %s: only here", what, name))
		case a != b:
			all = append(all, fmt.Sprintf("%s %s: %s here, %s there", what, name, shown(a), shown(b)))
		}
	}
	return all
}

// shown is a value in a sentence; long ones are counted.
func shown(v any) string {
	switch x := v.(type) {
	case *float64:
		if x == nil {
			return "unknown"
		}
		return strconv.FormatFloat(*x, 'g', -1, 64)
	case run.Result:
		return strconv.FormatFloat(x.Value, 'g', -1, 64) + x.Unit + " (" + string(x.Better) + " is better)"
	case []run.Finding:
		return fmt.Sprintf("%d", len(x))
	case []run.Summary:
		return fmt.Sprintf("%d", len(x))
	case *run.Discharge:
		if x == nil {
			return "none"
		}
		return shown(x.Watts) + " W"
	case *run.SourcedSetting:
		if x == nil {
			return "none"
		}
		return x.String() + " by " + string(x.Source)
	}
	return fmt.Sprintf("%q", v)
}
