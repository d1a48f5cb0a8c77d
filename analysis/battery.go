package analysis

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"sweepd/run"
)

// Facts about the battery that Battery reads from runs, in watt hours.
const (
	FactFullEnergyWh   = "battery_full_wh"   // what it holds when full, as it says
	FactDesignEnergyWh = "battery_design_wh" // what it was made to hold
)

// variantPack is the key of variants that add an external pack, as in pack=100Wh.
const variantPack = "pack"

// FullEnergy says what a device's battery holds when full, from the user or the
// device's sensor. Empty Device or Variant match any; the last match counts.
type FullEnergy struct {
	Device  string
	Variant string  // as in Run.Variant; for external packs, which are variants
	Wh      float64 // above 0
	RSE     float64 // relative standard error of Wh, 0 to below 1; 0: taken as exact
}

// BatteryRequest says what Battery shall do. The zero value works.
type BatteryRequest struct {
	Full     []FullEnergy // what is known of full energies; devices without one use the fact of their runs
	Reserve  float64      // share of the full energy that is kept back, 0 to below 1
	Declared float64      // relative SD of one run's power, for groups without repeats; 0: not declared

	// SwitchedOff are runs on battery that the device ended by switching off. They
	// count as measured runtimes and for nothing else.
	SwitchedOff []run.Run
}

// BatteryResult is how long batteries last: one group for each device, workload
// and variant that ran on battery.
type BatteryResult struct {
	Reserve    float64        `json:"reserve"`
	Confidence float64        `json:"confidence"` // of every interval, each by itself
	Groups     []BatteryGroup `json:"groups"`
	LeftOut    []LeftOutRun   `json:"left_out"` // by run.NoSystemPower, in the order of ids
	Notes      []Note         `json:"-"`        // worded by whoever writes JSON
}

// LeftOutRun is a run on battery whose discharge is not taken for the power of the whole
// device, and why; its results count elsewhere.
type LeftOutRun struct {
	Run      string `json:"run"`
	Reason   string `json:"reason"`
	Workload string `json:"workload"`
}

// BatteryGroup is one device, workload and variant on battery.
type BatteryGroup struct {
	Device   string `json:"device"`
	Workload string `json:"workload"`
	Variant  string `json:"variant"`

	N             int    `json:"n"`                // runs used
	FullEnergyWh  Number `json:"full_energy_wh"`   // null: unknown, and so are runtimes
	FullEnergyRSE Number `json:"full_energy_rse"`  // its relative standard error
	FullSource    string `json:"full_source"`      // request, fact, or empty
	DesignWh      Number `json:"design_energy_wh"` // null: unknown
	Health        Number `json:"health"`           // full over design; above 1 is possible

	Noise       Number      `json:"noise"` // relative SD of the power of one run
	NoiseSource NoiseSource `json:"noise_source"`

	Points   []BatteryPoint    `json:"points"`
	Overhead Overhead          `json:"overhead"`
	Gains    []RuntimeGain     `json:"gains"`
	Measured []MeasuredRuntime `json:"measured"`
	Flagged  []FlaggedRun      `json:"flagged"`
	Notes    []Note            `json:"-"` // worded by whoever writes JSON

	key   Group
	means []estimate // of ln system watts, beside Points
}

// BatteryPoint is one setting: the geometric mean of the power of the whole
// device in W with its pointwise 95 % interval, and the runtime in hours that
// the full energy without the reserve lasts at it.
type BatteryPoint struct {
	SettingW Number `json:"setting_w"`
	Setting  string `json:"setting"`
	N        int    `json:"n"`
	SystemW  Number `json:"system_w"`
	Lower    Number `json:"lower"`
	Upper    Number `json:"upper"`

	RuntimeH      Number `json:"runtime_h"`
	RuntimeLowerH Number `json:"runtime_lower_h"`
	RuntimeUpperH Number `json:"runtime_upper_h"`
}

// Is tells whether the point is of a setting: of its watts, or of its name where they are
// unknown.
func (p BatteryPoint) Is(watts Number, name string) bool {
	return sameSetting(p.SettingW, p.Setting, watts, name)
}

// Battery describes what a workload draws on battery and how long the battery
// lasts, at every setting. Only runs on battery count. The runs are left alone,
// and their order does not matter. It fails if the request makes no sense or no
// run was on battery; anything less is said in notes.
func Battery(runs []run.Run, req BatteryRequest) (BatteryResult, error) {
	if err := req.check(); err != nil {
		return BatteryResult{}, err
	}
	result := BatteryResult{Reserve: req.Reserve, Confidence: confidence, Groups: []BatteryGroup{}, LeftOut: leftOutRuns(runs), Notes: []Note{}}
	groups := runsByGroup(runs)
	others := 0
	for _, key := range sortedGroups(groups) {
		if key.Supply != run.Battery {
			others += len(groups[key])
			continue
		}
		b := batteryGroup{runs: runs, indices: groups[key], req: req}
		if group, ok := b.build(key); ok {
			result.Groups = append(result.Groups, group)
		} else {
			result.Notes = append(result.Notes, Note{Code: NoteNoUsablePower, Group: key, Count: len(groups[key])})
		}
	}
	result.Notes = append(result.Notes, loneRunDowns(result.Groups, req)...)
	if len(runs) == 0 {
		return BatteryResult{}, fmt.Errorf("battery: %w", errNoRuns)
	}
	if len(result.Groups) == 0 && len(result.Notes) == 0 {
		return BatteryResult{}, fmt.Errorf("battery: none of %d selected runs was on battery", others)
	}
	if others > 0 {
		result.Notes = append(result.Notes, Note{Code: NoteOtherSupplies, Count: others})
	}
	result.Notes = append(result.Notes, severalMachines(runs)...)
	addGains(result.Groups, req.Reserve)
	return result, nil
}

// leftOutRuns are those whose discharge says nothing.
func leftOutRuns(runs []run.Run) []LeftOutRun {
	list := []LeftOutRun{}
	for i := range runs {
		if why := runs[i].NoSystemPower(); why != "" {
			list = append(list, LeftOutRun{runs[i].ID, why, runs[i].Workload})
		}
	}
	slices.SortFunc(list, func(x, y LeftOutRun) int { return strings.Compare(x.Run, y.Run) })
	return list
}

// loneRunDowns tells of measured runtimes without another run on battery to
// stand beside.
func loneRunDowns(groups []BatteryGroup, req BatteryRequest) []Note {
	var notes []Note
	for i := range req.SwitchedOff {
		r := &req.SwitchedOff[i]
		key := groupOf(r)
		if !ranDown(r, req.Reserve) || slices.ContainsFunc(groups, func(g BatteryGroup) bool { return g.key == key }) {
			continue
		}
		notes = append(notes, Note{Code: NoteLoneRunDown, Group: key, Run: r.ID, Hours: Number(r.Seconds() / secondsPerHour)})
	}
	return notes
}

func (r BatteryRequest) check() error {
	switch {
	case !(r.Reserve >= 0 && r.Reserve < 1):
		return fmt.Errorf("battery: reserve %v: give a share of at least 0 and below 1, such as 0.05", r.Reserve)
	case !(r.Declared >= 0 && finite(r.Declared)):
		return fmt.Errorf("battery: declared noise %v: give a relative standard deviation such as 0.01", r.Declared)
	}
	for _, f := range r.Full {
		if !usable(f.Wh) || !(f.RSE >= 0 && f.RSE < 1) {
			return fmt.Errorf("battery: full energy %v Wh with relative standard error %v for device %q: give watt hours above 0 and an error of at least 0 and below 1",
				f.Wh, f.RSE, f.Device)
		}
	}
	return nil
}

// batteryGroup builds one group.
type batteryGroup struct {
	runs    []run.Run
	indices []int
	req     BatteryRequest
	samples []sample // of ln system watts
	out     BatteryGroup
}

// build returns the group; ok is false if no run of it can be used.
func (b *batteryGroup) build(key Group) (BatteryGroup, bool) {
	samples, left := buildSamples(b.runs, b.indices, systemPower)
	if len(samples) == 0 {
		return BatteryGroup{}, false
	}
	b.samples = samples
	noise := estimateNoise(samples, noiseOptions{lowerIsBetter: true, declared: b.req.Declared})
	b.out = BatteryGroup{
		Device: key.Device, Workload: key.Workload, Variant: string(key.Variant),
		Noise: groupNoise(noise), NoiseSource: noise.source,
		Points: []BatteryPoint{}, Gains: []RuntimeGain{}, Measured: []MeasuredRuntime{},
		Flagged: flaggedRuns(b.runs, samples, noise), Notes: []Note{},
		key: key, means: estimates(samples, noise, false),
	}
	left.missing, left.weak = left.missing-left.weak, 0 // LeftOut names them
	b.note(leftOutNotes("", left, "", AtSystem)...)
	b.note(countNote(NoteKeptInterrupted, "", countRuns(b.runs, usedRuns(b.samples), keptInterrupted))...)
	b.note(noiseNotes("", noise)...)
	b.note(unlikeRepeatsNotes(noise)...)
	b.addFullEnergy()
	b.addCommonUncertainty()
	b.addPoints()
	b.addOverhead()
	b.addMeasured(key)
	return b.out, true
}

func (b *batteryGroup) note(notes ...Note) { b.out.Notes = append(b.out.Notes, notes...) }

// addFullEnergy takes the full energy from the request, else from the device's
// own word, and the design energy from the latter.
func (b *batteryGroup) addFullEnergy() {
	o := &b.out
	o.FullEnergyWh, o.FullEnergyRSE = Unknown(), Unknown()
	forVariant := false
	for _, f := range b.req.Full {
		if (f.Device == "" || f.Device == o.Device) && (f.Variant == "" || f.Variant == o.Variant) {
			o.FullEnergyWh, o.FullEnergyRSE, o.FullSource = Number(f.Wh), Number(f.RSE), "request"
			forVariant = f.Variant != ""
		}
	}
	fact, changed := b.fact(FactFullEnergyWh)
	if !o.FullEnergyWh.Known() && finite(fact) {
		o.FullEnergyWh, o.FullEnergyRSE, o.FullSource = Number(fact), 0, "fact"
	}
	if changed {
		b.note(Note{Code: NoteFullEnergyChanges})
	}
	if !o.FullEnergyWh.Known() {
		b.note(Note{Code: NoteFullEnergyUnknown})
	}
	if pack := b.out.key.value(variantPack); pack != "" && o.FullEnergyWh.Known() && !forVariant {
		b.note(Note{Code: NotePackNotCounted, Name: pack, Group: b.out.key})
	}
	design, _ := b.fact(FactDesignEnergyWh)
	o.DesignWh = Number(design)
	o.Health = o.FullEnergyWh / o.DesignWh
	if finite(fact) {
		o.Health = Number(fact / design) // the user's word may include a pack
	}
}

// fact is a number that the device says of itself, taken from the latest run that has
// it; NaN if none has. changed tells whether it varies by more than 1 % among the runs.
func (b *batteryGroup) fact(name string) (value float64, changed bool) {
	latest := -1
	least, most := math.Inf(1), math.Inf(-1)
	value = math.NaN()
	for _, i := range b.indices {
		text, ok := b.runs[i].Facts[name]
		if !ok {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !usable(v) {
			continue
		}
		least, most = min(least, v), max(most, v)
		if latest < 0 || startsAfter(&b.runs[i], &b.runs[latest]) {
			latest, value = i, v
		}
	}
	return value, most > 1.01*least
}

// startsAfter tells whether a started after b; of runs that started together the one
// of the greater id is the later.
func startsAfter(a, b *run.Run) bool {
	if c := a.StartedAt.Compare(b.StartedAt.Time); c != 0 {
		return c > 0
	}
	return a.ID > b.ID
}

func (b *batteryGroup) addPoints() {
	for j, e := range b.out.means {
		lower, upper := e.interval()
		runtime := b.out.runtime(e, b.req.Reserve)
		b.out.N += e.n
		b.out.Points = append(b.out.Points, BatteryPoint{
			SettingW: Number(e.watts), Setting: b.samples[j].name, N: e.n,
			SystemW: expNumber(e.z), Lower: expNumber(lower), Upper: expNumber(upper),
			RuntimeH: Number(runtime.hours), RuntimeLowerH: Number(runtime.lower), RuntimeUpperH: Number(runtime.upper),
		})
	}
}

// addCommonUncertainty adds what the runs of a setting have in common to the variance of
// its mean.
func (b *batteryGroup) addCommonUncertainty() {
	for j := range b.out.means {
		u := b.commonUncertainty(b.samples[j].runs)
		b.out.means[j].v += u * u
	}
}

// commonUncertainty is the relative standard uncertainty that the powers of runs have in
// common: the root mean square of what each states. It adds to the variance of
// their mean like that of the full energy, undiminished by their number (type B
// evaluation; JCGM 100:2008, 4.3 and 5.2.2 for full correlation).
func (b *batteryGroup) commonUncertainty(indices []int) float64 {
	sum := 0.0
	for _, i := range indices {
		if u := b.runs[i].SystemUncertainty(); finite(u) {
			sum += u * u
		}
	}
	return math.Sqrt(sum / float64(max(1, len(indices))))
}
