package analysis

import "time"

// Note is one thing that a reader must know of the numbers beside it: where they
// come from, what they leave out, what else could explain a difference. It holds
// what it speaks of and no words: whoever shows it words it for his readers, who
// may be able to act on it or not. Machines branch on its code. Only the fields
// that its code names below are filled.
type Note struct {
	Code   NoteCode           `json:"code"`
	Side   string             `json:"side,omitzero"`    // the side it is about, by its name in the comparison; empty without sides
	Group  Group              `json:"group,omitzero"`   // the group it is about
	Run    string             `json:"run,omitzero"`     // the id of the run it is about
	Metric string             `json:"metric,omitzero"`  // a result's name
	Watts  []string           `json:"watts,omitzero"`   // kinds of watts: AtSetting, AtPackage, AtSystem
	Name   string             `json:"name,omitzero"`    // what else it is about, as the code says
	Names  []string           `json:"names,omitzero"`   // the same where these are several
	Count  int                `json:"count,omitzero"`   // how many
	Of     int                `json:"of,omitzero"`      // of how many, where the code says so
	InLine int                `json:"in_line,omitzero"` // settings in line with the trend
	Ratio  Number             `json:"ratio,omitzero"`   // relative
	Hours  Number             `json:"hours,omitzero"`   // h
	FromW  Number             `json:"from_w,omitzero"`  // W
	ToW    Number             `json:"to_w,omitzero"`    // W
	At     []DisobeyedSetting `json:"at,omitzero"`      // settings that were not kept to
	A      NoteSide           `json:"a,omitzero"`       // what is told of either side
	B      NoteSide           `json:"b,omitzero"`
}

// NoteSide is a side by its name in the comparison, with what a note tells of its runs.
type NoteSide struct {
	Side      string        `json:"side"`
	Mean      Number        `json:"mean,omitzero"`
	TimeOfDay time.Duration `json:"time_of_day_ns,omitzero"` // since midnight, UTC
	Count     int           `json:"count,omitzero"`          // runs
	Of        int           `json:"of,omitzero"`             // of so many
	Values    []string      `json:"values,omitzero"`         // sorted
}

// DisobeyedSetting is a setting and the mean package power of the runs that did
// not keep to it.
type DisobeyedSetting struct {
	SettingW Number `json:"setting_w"`
	Setting  string `json:"setting"` // the name where the watts are unknown
	DrewW    Number `json:"drew_w"`
}

// NoteCode tells notes apart. Codes are a contract: JSON has them as note_codes.
type NoteCode string

// Codes of every analysis. Those of left-out runs count them and name the metric
// and the kinds of watts that the runs should have had; one of both may be empty.
const (
	NoteQuantityMissing  NoteCode = "quantity_missing"  // runs without it were left out: Side, Count, Metric, Watts
	NotePowerUnclear     NoteCode = "power_unclear"     // Count of runs on battery have no system watts, as run.NoSystemPower says: Side
	NoteKeptInterrupted  NoteCode = "kept_interrupted"  // Count of runs were interrupted and kept by hand
	NoteSeveralMachines  NoteCode = "several_machines"  // the runs of the device Name are of Count machines, by their facts: Names has why
	NoteQuantityUnusable NoteCode = "quantity_unusable" // runs where it has no logarithm were left out: Side, Count, Metric, Watts
	NoteSettingUnusable  NoteCode = "setting_unusable"  // runs whose set watts have no logarithm were left out: Side, Count, Metric, Watts
	NoteNoiseFewRepeats  NoteCode = "noise_few_repeats" // from repeats and the roughness of the curve: Side
	NoteNoiseNoRepeats   NoteCode = "noise_no_repeats"  // from the roughness of the curve alone: Side
	NoteNoiseDeclared    NoteCode = "noise_declared"    // by the user: Side
	NoteNoiseUnknown     NoteCode = "noise_unknown"     // so there are no intervals: Side
	NoteUnlikeRepeats    NoteCode = "unlike_repeats"    // Count of runs
	NoteDirectionsDiffer NoteCode = "directions_differ" // less of the Metric is better by Count of Of runs, and taken as better for all
	NoteSeveralUnits     NoteCode = "several_units"     // of the Metric, not converted: Names
	NoteDaysDiffer       NoteCode = "days_differ"       // results of Side (of the curve where it is empty) shift over Count test days, from the lowest to the highest by Ratio
)

// Codes of Compare.
const (
	NoteSettingsDisobeyed  NoteCode = "settings_disobeyed"   // most runs of Side did not keep to At: equal set watts were not equal power
	NoteNothingShared      NoteCode = "nothing_shared"       // the sides have no setting in common
	NoteShiftsTakenOut     NoteCode = "shifts_taken_out"     // Count passes had common shifts, from the lowest to the highest by Ratio
	NoteComparedByName     NoteCode = "compared_by_name"     // settings have no watts, so there are no crossings
	NoteGaugesLeftOut      NoteCode = "gauges_left_out"      // what each battery's gauge gets wrong in all runs alike, standard uncertainty Ratio, is not in the bounds
	NoteDaysLeftOut        NoteCode = "days_left_out"        // how each of two devices drifts on its own day is not in the bounds
	NoteUnevenNoiseUnseen  NoteCode = "uneven_noise_unseen"  // with at most two runs per setting nobody notices noise that changes with the setting
	NoteSlowRunUnseen      NoteCode = "slow_run_unseen"      // of two runs nobody can tell which is the slow one
	NoteSingleRunSupported NoteCode = "single_run_supported" // where a side has one run, only a neighbouring setting makes it a winner
	NoteNoiseBorrowed      NoteCode = "noise_borrowed"       // one side has nothing to estimate its noise from
	NoteEqualWatts         NoteCode = "equal_watts"          // the sides are compared at equal measured Watts
	NoteNoCommonWatts      NoteCode = "no_common_watts"      // the sides were not measured in a common range of Watts
	NoteOutsideCommonWatts NoteCode = "outside_common_watts" // Count of measured points outside FromW to ToW, which both sides cover
	NoteStraightLine       NoteCode = "straight_line"        // a side has too few points to know the curve between them
	NoteOtherMetric        NoteCode = "other_metric"         // the workload of Group lacks the usual Metric and was compared by Name
	NoteSeveralPairs       NoteCode = "several_pairs"        // each pair of sides is summed up over its workloads by itself
	NoteNoCounterpart      NoteCode = "no_counterpart"       // Group found nobody to be compared with
)

// Codes of what else differs between the sides of a comparison, A and B, and could
// explain the difference.
const (
	ConfounderApart             NoteCode = "apart"                     // the last run of A began before the first of B
	ConfounderDurations         NoteCode = "durations_differ"          // Mean in s
	ConfounderStartTemperatures NoteCode = "start_temperatures_differ" // Mean in °C
	ConfounderTimesOfDay        NoteCode = "times_of_day_differ"       // the middles of the times of start: TimeOfDay
	ConfounderCharges           NoteCode = "charges_differ"            // Mean at the start, 0 to 1
	ConfounderFindings          NoteCode = "findings_differ"           // Count of Of runs have the finding of the code Name
	ConfounderFacts             NoteCode = "facts_differ"              // Values that the fact Name takes, as the runs hold them
	ConfounderDevices           NoteCode = "devices_differ"            // in facts that nobody could have made equal: Names, their keys
	ConfounderWattsSources      NoteCode = "watts_sources_differ"      // Count of Of runs have their system watts from an external meter, the others from the battery
	ConfounderUnits             NoteCode = "units_differ"              // of the Metric: Values, "" for no unit
	ConfounderPasses            NoteCode = "moves_between_passes"      // results of Side shift over Count passes, from the lowest to the highest by Ratio
	ConfounderDrift             NoteCode = "drifts"                    // results of Side change by Ratio over the Hours of its runs
)

// Codes of Curve.
const (
	NoteNoUsableResult      NoteCode = "no_usable_result"      // none of the Count runs of Group has the Metric; they have Names
	NoteCurveByName         NoteCode = "curve_by_name"         // settings have no watts, so there is nothing in watts
	NoteLowerIsBetter       NoteCode = "lower_is_better"       // which turns the signs of a curve's numbers
	NoteNoOrder             NoteCode = "no_order"              // the settings have names without a known order
	NoteSingleRunDepartures NoteCode = "single_run_departures" // Count departures rest on one run
	NoteEfficiencyLeftOut   NoteCode = "efficiency_left_out"   // only Count of Of settings have the watts Name (ByPackage, BySystem)
	NoteExternalWatts       NoteCode = "external_watts"        // Count of Of runs have their system watts from an external meter
	NoteRangeNotTested      NoteCode = "range_not_tested"      // Count of Of settings have package watts and InLine are in line with the trend: too few to tell which the device follows
	NoteRangeWithoutNoise   NoteCode = "range_without_noise"   // Count of Of settings have package watts, and without noise no result is flat
	NoteRangeByResults      NoteCode = "range_by_results"      // only Count of Of settings have package watts
	NoteFlatResults         NoteCode = "flat_results"          // they do not respond to the setting measurably
)

// Codes of Battery.
const (
	NoteNoUsablePower      NoteCode = "no_usable_power"      // none of the Count runs of Group has a power of the whole device
	NoteLoneRunDown        NoteCode = "lone_run_down"        // Run of Group measured a runtime, Hours, without other runs on battery
	NoteOtherSupplies      NoteCode = "other_supplies"       // Count of runs on mains or an unknown supply
	NoteFullEnergyChanges  NoteCode = "full_energy_changes"  // from run to run by the device's word; the latest counts
	NoteFullEnergyUnknown  NoteCode = "full_energy_unknown"  // there are no runtimes
	NotePackNotCounted     NoteCode = "pack_not_counted"     // the full energy is without the external pack Name of the variant in Group
	NoteStartChargeUnknown NoteCode = "start_charge_unknown" // Count of runs down to the reserve that were predicted from a full battery
	NoteOverheadBySetting  NoteCode = "overhead_by_setting"  // the line is against set watts
	NoteNoOverhead         NoteCode = "no_overhead"          // there are too few runs or powers for a line
)

// Codes of Value.
const (
	NoteOneDevice    NoteCode = "one_device"    // the sides A and B are variants of it
	NotePriceUnknown NoteCode = "price_unknown" // of the device Name
	NoteSamePrice    NoteCode = "same_price"    // of the devices A and B
)
