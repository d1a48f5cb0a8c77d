package store

import (
	"database/sql"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"sweepd/agent"
	"sweepd/collectors"
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
	detail  agent.Detail
}

func scanRun(rows *sql.Rows) (*storedRun, error) {
	r := &storedRun{}
	d := &r.detail
	var variant string
	var read agent.Setting
	var readName, readSource, started sql.NullString
	var discharge agent.Discharge
	err := rows.Scan(&r.n, &d.ID, &d.Device, &d.Workload, &variant, (*string)(&d.Supply),
		&d.Setting.Watts, &d.Setting.Name, (*string)(&d.Setting.Source), &read.Watts, &readName, &readSource,
		(*string)(&d.State), &d.Why, &d.Note, &started, &d.DurationS, &d.PackageW, &d.SystemW,
		&discharge.Watts, &discharge.UncertaintyWatts, &discharge.FromPowerWatts, &discharge.FromEnergyWatts, &d.WarmUpS, &r.factSet)
	if err != nil {
		return nil, err
	}
	if d.StartedAt, err = parseStamp(started.String); err != nil {
		return nil, fmt.Errorf("run %s: %w", d.ID, err)
	}
	d.Variant = variantMap(variant)
	if readName.Valid {
		read.Name, read.Source = readName.String, agent.Source(readSource.String)
		d.SettingRead = &read
	}
	if discharge != (agent.Discharge{}) {
		d.Discharge = &discharge
	}
	d.Results = map[string]agent.Result{}
	d.Findings = []agent.Finding{}
	d.Summaries = []agent.Summary{}
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
func runValues(d *agent.Detail, factSet any) []any {
	var read agent.Setting
	var readName, readSource any
	if d.SettingRead != nil {
		read = *d.SettingRead
		readName, readSource = read.Name, string(read.Source)
	}
	var discharge agent.Discharge
	if d.Discharge != nil {
		discharge = *d.Discharge
	}
	temperature, charge := startOf(d.Summaries)
	before := ""
	if d.State == agent.Rejected {
		before = string(agent.Finished)
	}
	return []any{d.ID, d.Device, d.Workload, agent.VariantText(d.Variant), string(d.Supply),
		number(d.Setting.Watts), d.Setting.Name, string(d.Setting.Source), number(read.Watts), readName, readSource,
		string(d.State), d.Why, d.Note, stampText(d.StartedAt.Time), number(d.DurationS), number(d.PackageW), number(d.SystemW),
		number(discharge.Watts), number(discharge.UncertaintyWatts), number(discharge.FromPowerWatts), number(discharge.FromEnergyWatts),
		number(d.WarmUpS), factSet, number(temperature), number(charge), before}
}

// startOf finds the hottest temperature and the mean charge at the start.
func startOf(summaries []agent.Summary) (temperature, charge *float64) {
	var sum float64
	n := 0
	for i := range summaries {
		first := summaries[i].First
		if first == nil {
			continue
		}
		switch summaries[i].Sensor {
		case collectors.Temperature:
			if temperature == nil || *first > *temperature {
				temperature = first
			}
		case collectors.BatteryCharge:
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
	return agent.Stamp(t).String()
}

func parseStamp(text string) (agent.Timestamp, error) {
	if text == "" {
		return agent.Timestamp{}, nil
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return agent.Timestamp{}, fmt.Errorf("stored time %q is not RFC 3339: %w", text, err)
	}
	return agent.Stamp(t), nil
}

// variantMap undoes agent.VariantText.
func variantMap(text string) map[string]string {
	variant := map[string]string{}
	for text != "" {
		var pair string
		pair, text, _ = strings.Cut(text, ",")
		k, v, _ := strings.Cut(pair, "=")
		variant[k] = v
	}
	return variant
}

// checkDetail refuses what could not be read back as it was.
func checkDetail(d *agent.Detail) error {
	var errs []error
	if d.ID == "" || strings.ContainsAny(d.ID, "\x00\n") {
		errs = append(errs, fmt.Errorf("run id %q: want a line of text", d.ID))
	}
	for k, v := range d.Variant {
		errs = append(errs, agent.CheckVariantPair(k, v))
	}
	if err := checkTime(d.StartedAt.Time); err != nil {
		errs = append(errs, err)
	}
	for name, r := range d.Results {
		errs = append(errs, checkResult(name, r))
	}
	finite := func(what string, numbers ...*float64) {
		for _, p := range numbers {
			if p != nil && (math.IsNaN(*p) || math.IsInf(*p, 0)) {
				errs = append(errs, fmt.Errorf("%s is %v: want a finite number, or none where unknown", what, *p))
			}
		}
	}
	finite("setting", d.Setting.Watts)
	finite("duration or warm-up", d.DurationS, d.WarmUpS)
	finite("package or system power", d.PackageW, d.SystemW)
	if d.SettingRead != nil {
		finite("setting read", d.SettingRead.Watts)
	}
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

func checkResult(name string, r agent.Result) error {
	if err := agent.CheckLabel("result name", name); err != nil {
		return err
	}
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return fmt.Errorf("result %s is %v: want a finite number", name, r.Value)
	}
	if r.Better != agent.Higher && r.Better != agent.Lower {
		return fmt.Errorf("result %s: better is %q, want %q or %q", name, r.Better, agent.Higher, agent.Lower)
	}
	return nil
}
