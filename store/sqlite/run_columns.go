package sqlite

import (
	"slices"
	"strings"

	"sweepd/run"
)

// writtenColumns are what runValues gives, in order. Those from measuredColumns on are
// unknown of most runs that no agent recorded.
var writtenColumns = []string{
	"id", "device", "workload", "variant", "supply", "setting_w", "setting", "setting_source",
	"state", "state_before", "why", "note", "started_at", "duration_s", "package_w", "system_w",
	"setting_read_w", "setting_read", "setting_read_source",
	"discharge_w", "discharge_uncertainty_w", "discharge_from_power_w", "discharge_from_energy_w",
	"warmup_s", "start_temperature_c", "start_charge_ratio", "end_charge_ratio", "fact_set",
	"load_end_s", "whole_s",
}

var factSetColumn = slices.Index(writtenColumns, "fact_set")

var measuredColumns = slices.Index(writtenColumns, "setting_read_w")

var updateRun = "UPDATE runs SET " + strings.Join(writtenColumns, " = ?, ") + " = ? WHERE n = ?"

// runValues are the columns of a run as SQL takes them.
func runValues(r *run.Record, factSet any) []any {
	var readWatts, readName, readSource any
	if read := r.SettingRead; read != nil {
		readWatts, readName, readSource = watts(read.Setting), read.Name(), string(read.Source)
	}
	var discharge run.Discharge
	if r.Discharge != nil {
		discharge = *r.Discharge
	}
	temperature, charge := startOf(r.Summaries)
	endCharge := meanCharge(r.Summaries, func(x *run.Summary) *float64 { return x.Last })
	before := ""
	if r.State == run.Rejected {
		before = string(run.Finished)
	}
	return []any{r.ID, r.Device, r.Workload, string(r.Variant), string(r.Supply), watts(r.Setting.Setting), r.Setting.Name(), string(r.Setting.Source),
		string(r.State), before, r.Why, r.Note, stampText(r.StartedAt.Time), number(r.DurationS), number(r.PackageW), number(r.SystemW),
		readWatts, readName, readSource,
		number(discharge.Watts), number(discharge.UncertaintyWatts), number(discharge.FromPowerWatts), number(discharge.FromEnergyWatts),
		number(r.WarmUpS), number(temperature), number(charge), number(endCharge), factSet,
		number(r.LoadEndS), number(r.WholeS)}
}

// startOf finds the hottest temperature and the mean charge at the start.
func startOf(summaries []run.Summary) (temperature, charge *float64) {
	for i := range summaries {
		first := summaries[i].First
		if first != nil && summaries[i].Sensor == run.Temperature && (temperature == nil || *first > *temperature) {
			temperature = first
		}
	}
	return temperature, meanCharge(summaries, func(x *run.Summary) *float64 { return x.First })
}

// meanCharge is the mean of what is known of the batteries' charges, nil for none.
func meanCharge(summaries []run.Summary, of func(*run.Summary) *float64) *float64 {
	var sum float64
	n := 0
	for i := range summaries {
		if charge := of(&summaries[i]); charge != nil && summaries[i].Sensor == run.BatteryCharge {
			sum += *charge
			n++
		}
	}
	if n == 0 {
		return nil
	}
	mean := sum / float64(n)
	return &mean
}
