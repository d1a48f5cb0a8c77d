package sqlite

import (
	"database/sql"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"sweepd/run"
)

// runColumns are what scanRun reads, in order.
const runColumns = `n, id, device, workload, variant, supply,
	setting_w, setting, setting_source, setting_read_w, setting_read, setting_read_source,
	state, why, note, started_at, duration_s, package_w, system_w,
	discharge_w, discharge_uncertainty_w, discharge_from_power_w, discharge_from_energy_w, warmup_s, fact_set`

// storedRun is a row of `runs`.
type storedRun struct {
	n       int64
	factSet sql.NullInt64
	detail  run.Record
}

func scanRun(rows *sql.Rows) (*storedRun, error) {
	r := &storedRun{}
	d := &r.detail
	var watts, readWatts *float64
	var name string
	var readName, readSource, started sql.NullString
	var discharge run.Discharge
	err := rows.Scan(&r.n, &d.ID, &d.Device, &d.Workload, (*string)(&d.Variant), (*string)(&d.Supply),
		&watts, &name, (*string)(&d.Setting.Source), &readWatts, &readName, &readSource,
		(*string)(&d.State), &d.Why, &d.Note, &started, &d.DurationS, &d.PackageW, &d.SystemW,
		&discharge.Watts, &discharge.UncertaintyWatts, &discharge.FromPowerWatts, &discharge.FromEnergyWatts, &d.WarmUpS, &r.factSet)
	if err != nil {
		return nil, err
	}
	if d.StartedAt, err = parseStamp(started.String); err != nil {
		return nil, fmt.Errorf("run %s: %w", d.ID, err)
	}
	d.Setting.Setting = setting(watts, name)
	if readName.Valid {
		read := setting(readWatts, readName.String).From(run.Source(readSource.String))
		d.SettingRead = &read
	}
	if discharge != (run.Discharge{}) {
		d.Discharge = &discharge
	}
	d.Results = map[string]run.Result{}
	d.Findings = []run.Finding{}
	d.Summaries = []run.Summary{}
	d.Facts = map[string]string{}
	return r, nil
}

// writtenColumns are what runValues gives, in order.
var writtenColumns = []string{
	"id", "device", "workload", "variant", "supply",
	"setting_w", "setting", "setting_source", "setting_read_w", "setting_read", "setting_read_source",
	"state", "why", "note", "started_at", "duration_s", "package_w", "system_w",
	"discharge_w", "discharge_uncertainty_w", "discharge_from_power_w", "discharge_from_energy_w",
	"warmup_s", "fact_set", "start_temperature_c", "start_charge_ratio", "state_before",
}

var updateRun = "UPDATE runs SET " + strings.Join(writtenColumns, " = ?, ") + " = ? WHERE n = ?"

// insertRun leaves out what is NULL: in imported tables that is most columns.
func insertRun(values []any) (query string, known []any) {
	var names []string
	for i, v := range values {
		if v != nil {
			names = append(names, writtenColumns[i])
			known = append(known, v)
		}
	}
	return "INSERT INTO runs (" + strings.Join(names, ", ") + ") VALUES (?" + strings.Repeat(", ?", len(names)-1) + ") ON CONFLICT (id) DO NOTHING", known
}

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
	return []any{d.ID, d.Device, d.Workload, string(d.Variant), string(d.Supply),
		watts(d.Setting.Setting), d.Setting.Name(), string(d.Setting.Source), readWatts, readName, readSource,
		string(d.State), d.Why, d.Note, stampText(d.StartedAt.Time), number(d.DurationS), number(d.PackageW), number(d.SystemW),
		number(discharge.Watts), number(discharge.UncertaintyWatts), number(discharge.FromPowerWatts), number(discharge.FromEnergyWatts),
		number(d.WarmUpS), factSet, number(temperature), number(charge), before}
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

// setting undoes watts and the setting's name.
func setting(watts *float64, name string) run.Setting {
	if watts != nil {
		return run.Watts(*watts)
	}
	return run.Named(name)
}

// watts are a setting's for SQL: NULL where only a name is known, or nothing.
func watts(s run.Setting) any {
	if w, ok := s.Watts(); ok {
		return w
	}
	return nil
}

// number is p for SQL: NULL where unknown.
func number(p *float64) any {
	if p == nil {
		return nil
	}
	return *p
}

// stampText is a time for SQL: NULL where zero.
func stampText(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return run.Stamp(t).String()
}

func parseStamp(text string) (run.Timestamp, error) {
	if text == "" {
		return run.Timestamp{}, nil
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return run.Timestamp{}, fmt.Errorf("stored time %q is not RFC 3339: %w", text, err)
	}
	return run.Stamp(t), nil
}

// checkDetail refuses what could not be read back as it was.
func checkDetail(d *run.Record) error {
	var errs []error
	if d.ID == "" || strings.ContainsAny(d.ID, "\x00\n") {
		errs = append(errs, fmt.Errorf("run id %q: want a line of text", d.ID))
	}
	for k, v := range d.Variant.Pairs() {
		errs = append(errs, run.CheckVariantPair(k, v))
	}
	if err := checkTime(d.StartedAt.Time); err != nil {
		errs = append(errs, err)
	}
	for name, r := range d.Results {
		errs = append(errs, run.CheckResult(name, r))
	}
	finite := func(what string, numbers ...*float64) {
		for _, p := range numbers {
			if p != nil && (math.IsNaN(*p) || math.IsInf(*p, 0)) {
				errs = append(errs, fmt.Errorf("%s is %v: want a finite number, or none where unknown", what, *p))
			}
		}
	}
	finite("duration or warm-up", d.DurationS, d.WarmUpS)
	finite("package or system power", d.PackageW, d.SystemW)
	if x := d.Discharge; x != nil {
		finite("discharge", x.Watts, x.UncertaintyWatts, x.FromPowerWatts, x.FromEnergyWatts)
	}
	for i := range d.Summaries {
		x := &d.Summaries[i]
		finite("summary of "+x.Sensor+" "+x.Instance, x.Mean, x.Min, x.Max, x.P95, x.First, x.Last, x.EnergyJoules, x.SteadyMean)
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("run %s: %w", d.ID, err)
	}
	return nil
}

// checkTime keeps text order time order.
func checkTime(t time.Time) error {
	if !t.IsZero() && (t.UTC().Year() < 1 || t.UTC().Year() > 9999) {
		return fmt.Errorf("time %v: want a year from 1 to 9999", t)
	}
	return nil
}
