package analysis

import "time"

// Note is one thing that a reader must know of the numbers beside it: where they
// come from, what they leave out, what else could explain a difference. It holds
// what it speaks of and no words: whoever shows it words it for his readers, who
// may be able to act on it or not.
type Note interface{ note() }

// Why a run was left out.
const (
	LeftOutMissing  = "missing"  // it lacks the quantity
	LeftOutUnusable = "unusable" // the quantity has no logarithm
	LeftOutSetting  = "setting"  // its set watts have no logarithm
)

// Notes of every analysis. Side is empty where there are no sides, and Runs
// counts runs.
type (
	// LeftOutRuns could not be used. They should have had the metric, and the
	// kinds of watts (AtSetting, AtPackage, AtSystem); one of both may be empty.
	LeftOutRuns struct {
		Side   string
		Runs   int
		Why    string
		Metric string
		Watts  []string
	}
	// NoiseEstimate says where a noise comes from that repeats alone did not settle.
	NoiseEstimate struct {
		Side   string
		Source NoiseSource
	}
	// UnlikeRepeats counts the runs that differ from their repeats.
	UnlikeRepeats struct{ Runs int }
	// DirectionsDiffer: runs disagree whether less of the metric is better; it is
	// taken as such for all.
	DirectionsDiffer struct {
		Metric       string
		LowerIn, All int // runs
	}
	// SeveralUnits have not been converted.
	SeveralUnits struct {
		Metric string
		Units  []string
	}
)

func (LeftOutRuns) note()      {}
func (NoiseEstimate) note()    {}
func (UnlikeRepeats) note()    {}
func (DirectionsDiffer) note() {}
func (SeveralUnits) note()     {}

// Notes of Compare.
type (
	// Disobeyed: at these settings most runs of a side did not keep to the setting,
	// so that equal set watts were not equal power.
	Disobeyed struct {
		Side string
		At   []DisobeyedSetting
	}
	// NothingShared: the sides have no setting in common.
	NothingShared struct{}
	// ShiftsTakenOut: the passes had common shifts, from the lowest to the highest
	// by the relative Spread, which were taken out.
	ShiftsTakenOut struct {
		Passes int
		Spread Number
	}
	// ComparedByName: settings have no watts, so there are no crossings.
	ComparedByName struct{}
	// GaugesLeftOut: what each battery's gauge gets wrong in all its runs alike, by
	// this relative standard uncertainty, is not in the bounds.
	GaugesLeftOut struct{ Uncertainty Number }
	// DaysLeftOut: how each of two devices drifts on its own day is not in the bounds.
	DaysLeftOut struct{}
	// UnevenNoiseUnseen: with at most two runs per setting nobody notices noise that
	// changes with the setting.
	UnevenNoiseUnseen struct{}
	// SlowRunUnseen: of two runs nobody can tell which is the slow one.
	SlowRunUnseen struct{}
	// SingleRunSupported: where a side has one run, only a neighbouring setting makes
	// it a winner.
	SingleRunSupported struct{}
	// NoiseBorrowed: one side has nothing to estimate its noise from.
	NoiseBorrowed struct{}
	// EqualWatts: the sides are compared at equal measured watts of this kind.
	EqualWatts struct{ Watts string }
	// NoCommonWatts: the sides were not measured in a common range of such watts.
	NoCommonWatts struct{ Watts string }
	// OutsideCommonWatts counts the measured points outside the range that both
	// sides cover.
	OutsideCommonWatts struct {
		FromW, ToW Number
		Points     int
	}
	// StraightLine: a side has too few points to know the curve between them.
	StraightLine struct{}
	// OtherMetric: a workload lacks the usual metric and was compared by another.
	OtherMetric struct{ Workload, Metric, Instead string }
	// SeveralPairs of sides are each summed up over its workloads by itself.
	SeveralPairs struct{}
	// Alone is a group of a side that found nobody to be compared with.
	Alone struct{ Group Group }
)

// DisobeyedSetting is a setting and the mean package power of the runs that did
// not keep to it.
type DisobeyedSetting struct {
	SettingW Number
	Setting  string // the name where the watts are unknown
	DrewW    Number
}

func (Disobeyed) note()          {}
func (NothingShared) note()      {}
func (ShiftsTakenOut) note()     {}
func (ComparedByName) note()     {}
func (GaugesLeftOut) note()      {}
func (DaysLeftOut) note()        {}
func (UnevenNoiseUnseen) note()  {}
func (SlowRunUnseen) note()      {}
func (SingleRunSupported) note() {}
func (NoiseBorrowed) note()      {}
func (EqualWatts) note()         {}
func (NoCommonWatts) note()      {}
func (OutsideCommonWatts) note() {}
func (StraightLine) note()       {}
func (OtherMetric) note()        {}
func (SeveralPairs) note()       {}
func (Alone) note()              {}

// What else differs between the sides of a comparison and could explain the
// difference.
type (
	// Apart: the last run of one side began before the first of the other.
	Apart struct{ Early, Late string }
	// DurationsDiffer, in mean seconds.
	DurationsDiffer struct{ A, B SideMean }
	// StartTemperaturesDiffer, in mean °C.
	StartTemperaturesDiffer struct{ A, B SideMean }
	// TimesOfDayDiffer, the middles of the times of start.
	TimesOfDayDiffer struct{ A, B SideTime }
	// ChargesDiffer, in the mean charge at the start, 0 to 1.
	ChargesDiffer struct{ A, B SideMean }
	// FindingsDiffer in how many runs have the finding of this code.
	FindingsDiffer struct {
		Code string
		A, B SideShare
	}
	// FactsDiffer in the values that one fact takes, as the runs hold them.
	FactsDiffer struct {
		Fact string
		A, B SideValues
	}
	// DevicesDiffer in facts that nobody could have made equal, by their keys.
	DevicesDiffer struct{ Facts []string }
	// UnitsDiffer in the units of the metric; "" is no unit.
	UnitsDiffer struct {
		Metric string
		A, B   SideValues
	}
	// MovesBetweenPasses: a side's results shift from pass to pass, from the lowest
	// to the highest by the relative Spread.
	MovesBetweenPasses struct {
		Side   string
		Spread Number
		Passes int
	}
	// Drifts: a side's results change over the hours of its runs, relatively.
	Drifts struct {
		Side          string
		Hours, Change Number
	}
)

// A side by its name in the comparison, with what is told of its runs.
type (
	SideMean struct {
		Side string
		Mean Number
	}
	SideTime struct {
		Side string
		At   time.Duration // since midnight, UTC
	}
	SideShare struct {
		Side      string
		Runs, All int
	}
	SideValues struct {
		Side   string
		Values []string // sorted
	}
)

func (Apart) note()                   {}
func (DurationsDiffer) note()         {}
func (StartTemperaturesDiffer) note() {}
func (TimesOfDayDiffer) note()        {}
func (ChargesDiffer) note()           {}
func (FindingsDiffer) note()          {}
func (FactsDiffer) note()             {}
func (DevicesDiffer) note()           {}
func (UnitsDiffer) note()             {}
func (MovesBetweenPasses) note()      {}
func (Drifts) note()                  {}

// Notes of Curve.
type (
	// NoUsableResult: none of the group's runs has the metric; others they have.
	NoUsableResult struct {
		Group  Group
		Metric string
		Runs   int
		Others []string
	}
	// CurveByName: settings have no watts, so there is nothing in watts.
	CurveByName struct{}
	// LessIsBetter turns the signs of a curve's numbers.
	LessIsBetter struct{}
	// NoOrder: the settings have names without a known order.
	NoOrder struct{}
	// SingleRunDepartures counts departures that rest on one run.
	SingleRunDepartures struct{ Departures int }
	// EfficiencyLeftOut: too few settings have these watts (ByPackage, BySystem).
	EfficiencyLeftOut struct {
		By         string
		Known, All int // settings
	}
	// RangeNotTested: nothing tells which settings the device follows. Of all
	// settings so many have package watts, which are too few, and so many are in line
	// with the trend; NoNoise: without noise no result is flat.
	RangeNotTested struct {
		Measured, InLine, All int
		NoNoise               bool
	}
	// RangeByResults: which settings the device follows is from results alone, because
	// too few of all settings have package watts.
	RangeByResults struct{ Measured, All int }
	// FlatResults do not respond to the setting measurably.
	FlatResults struct{}
)

func (NoUsableResult) note()      {}
func (CurveByName) note()         {}
func (LessIsBetter) note()        {}
func (NoOrder) note()             {}
func (SingleRunDepartures) note() {}
func (EfficiencyLeftOut) note()   {}
func (RangeNotTested) note()      {}
func (RangeByResults) note()      {}
func (FlatResults) note()         {}

// Notes of Battery.
type (
	// NoUsablePower: none of the group's runs has a power of the whole device.
	NoUsablePower struct {
		Group Group
		Runs  int
	}
	// LoneRunDown is a measured runtime without other runs on battery.
	LoneRunDown struct {
		Group Group
		Run   string
		Hours Number
	}
	// OtherSupplies counts the runs on mains or an unknown supply.
	OtherSupplies struct{ Runs int }
	// FullEnergyChanges from run to run by the device's word; the latest counts.
	FullEnergyChanges struct{}
	// FullEnergyUnknown: there are no runtimes.
	FullEnergyUnknown struct{}
	// PackNotCounted: the full energy is that of the battery, without the variant's
	// external pack.
	PackNotCounted struct{ Pack, Variant string }
	// StartChargeUnknown counts runs down to the reserve that were predicted from a
	// full battery.
	StartChargeUnknown struct{ Runs int }
	// OverheadBySetting: the line is against set watts.
	OverheadBySetting struct{}
	// NoOverhead: there are too few runs or powers for a line.
	NoOverhead struct{}
)

func (NoUsablePower) note()      {}
func (LoneRunDown) note()        {}
func (OtherSupplies) note()      {}
func (FullEnergyChanges) note()  {}
func (FullEnergyUnknown) note()  {}
func (PackNotCounted) note()     {}
func (StartChargeUnknown) note() {}
func (OverheadBySetting) note()  {}
func (NoOverhead) note()         {}

// Notes of Value.
type (
	// OneDevice: the sides are variants of one device.
	OneDevice struct{ A, B string }
	// PriceUnknown of a device.
	PriceUnknown struct{ Device string }
	// SamePrice of two devices.
	SamePrice struct{ A, B string }
)

func (OneDevice) note()    {}
func (PriceUnknown) note() {}
func (SamePrice) note()    {}
