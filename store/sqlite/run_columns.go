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
	"warmup_s", "fact_set", "start_temperature_c", "start_charge_ratio",
}

var measuredColumns = slices.Index(writtenColumns, "setting_read_w")

var updateRun = "UPDATE runs SET " + strings.Join(writtenColumns, " = ?, ") + " = ? WHERE n = ?"

// runValues are the columns of a run as SQL takes them.
func runValues(d *run.Record, factSet any) []any {
	var readWatts, readName, readSource any
	if read := d.SettingRead; read != nil {
		readWatts, readName, readSource = watts(read.Setting), read.Name(), string(read.Source)
	}
	var discharge run.Discharge
	if d.Discharge != nil {
		discharge = *d.Discharge
	}
	temperature, charge := startOf(d.Summaries)
	before := ""
	if d.State == run.Rejected {
		before = string(run.Finished)
	}
	return []any{d.ID, d.Device, d.Workload, string(d.Variant), string(d.Supply), watts(d.Setting.Setting), d.Setting.Name(), string(d.Setting.Source),
		string(d.State), before, d.Why, d.Note, stampText(d.StartedAt.Time), number(d.DurationS), number(d.PackageW), number(d.SystemW),
		readWatts, readName, readSource,
		number(discharge.Watts), number(discharge.UncertaintyWatts), number(discharge.FromPowerWatts), number(discharge.FromEnergyWatts),
		number(d.WarmUpS), factSet, number(temperature), number(charge)}
}

// startOf finds the hottest temperature and the mean charge at the start.
func startOf(summaries []run.Summary) (temperature, charge *float64) {
	var sum float64
	n := 0
	for i := range summaries {
		first := summaries[i].First
		if first == nil {
			continue
		}
		switch summaries[i].Sensor {
		case run.Temperature:
			if temperature == nil || *first > *temperature {
				temperature = first
			}
		case run.BatteryCharge:
			sum += *first
			n++
		}
	}
	if n > 0 {
		mean := sum / float64(n)
		charge = &mean
	}
	return temperature, charge
}
