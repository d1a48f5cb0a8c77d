package run

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// Check tells why a record cannot be kept: it could not be read back as it was.
func (r *Record) Check() error {
	var errs []error
	if r.ID == "" || strings.ContainsAny(r.ID, "\x00\n") {
		errs = append(errs, fmt.Errorf("run id %q: want a line of text", r.ID))
	}
	for k, v := range r.Variant.Pairs() {
		// Only that: the agent that recorded it may have had other rules for labels.
		if k == "" || v == "" || strings.ContainsAny(k+v, "\x00\n") {
			errs = append(errs, fmt.Errorf("variant %q: want pairs k=v on a line of text", r.Variant))
		}
	}
	// RFC 3339 has four digits for the year.
	if year := r.StartedAt.UTC().Year(); !r.StartedAt.IsZero() && (year < 1 || year > 9999) {
		errs = append(errs, fmt.Errorf("time %v: want a year from 1 to 9999", r.StartedAt.Time))
	}
	for name, result := range r.Results {
		errs = append(errs, CheckResult(name, result))
	}
	finite := func(what string, numbers ...*float64) {
		for _, p := range numbers {
			if p != nil && (math.IsNaN(*p) || math.IsInf(*p, 0)) {
				errs = append(errs, fmt.Errorf("%s is %v: want a finite number, or none where unknown", what, *p))
			}
		}
	}
	finite("duration or warm-up", r.DurationS, r.WarmUpS, r.LoadEndS, r.WholeS)
	finite("package or system power", r.PackageW, r.SystemW)
	if x := r.Discharge; x != nil {
		finite("discharge", x.Watts, x.UncertaintyWatts, x.FromPowerWatts, x.FromEnergyWatts)
	}
	for i := range r.Summaries {
		x := &r.Summaries[i]
		finite("summary of "+x.Sensor+" "+x.Instance, x.Mean, x.Min, x.Max, x.P95, x.First, x.Last, x.EnergyJoules, x.SteadyMean, x.LoadMean)
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("run %s: %w", r.ID, err)
	}
	return nil
}
