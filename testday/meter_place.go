package testday

import (
	"errors"
	"fmt"
	"math"
	"time"

	"sweepd/meter"
	"sweepd/run"
)

// besideRun is the log of a meter that is laid beside a run.
type besideRun struct {
	file    string
	log     *meter.Log
	own     meter.Curve // what the run measured of itself, since its start
	started time.Time
	length  float64        // of the run, s
	zone    *time.Location // of whoever joins it

}

func (b *besideRun) curve() meter.Curve { return meter.FromPower(b.log.At, b.log.Watts) }

// dated tells whether the log tells when it was taken.
func (b *besideRun) dated() bool { return !b.log.Start.IsZero() }

// shift is what turns times of a log that tells the day into times since the run's start, s.
func (b *besideRun) shift() float64 {
	if !b.dated() {
		return 0
	}
	return b.log.Start.Sub(b.started).Seconds()
}

// clocksOff are how far a meter's clock may be off, s, without somebody saying so: by little,
// or, where no place near by fits, by more. A log of a day has other runs like this one.
var clocksOff = []float64{60, 15 * 60}

// find looks for where the log lies: near by its own clock first, then everywhere. far is
// whether that is further off than a clock may be without somebody saying so.
func (b *besideRun) find() (p meter.Alignment, far, ok bool) {
	log, first := b.curve(), b.shift()
	if b.dated() {
		for _, off := range clocksOff {
			if p, ok = meter.Align(log, b.own, first-off, first+off); p.Clear {
				return b.since(p), false, ok
			}
		}
	}
	all, found := meter.Align(log, b.own, math.Inf(-1), math.Inf(1))
	if !ok || all.Clear {
		return b.since(all), b.dated(), found
	}
	return b.since(p), false, ok
}

// since gives an alignment with the offset to be added to the times as the log tells them.
func (b *besideRun) since(p meter.Alignment) meter.Alignment {
	p.Offset = math.Round((p.Offset-b.shift())*1000) / 1000
	return p
}

// timeUnits are those that times without one may have, and how many seconds they are.
var timeUnits = []struct {
	name    string
	seconds float64
}{{"ms", 1e-3}, {"us", 1e-6}, {"min", 60}}

// findUnit looks for the unit in which a log's times fit, where it tells none; the log has it
// from then on.
func (b *besideRun) findUnit() (p meter.Alignment, unit string) {
	if b.dated() || b.log.TimeUnit {
		return p, ""
	}
	for _, u := range timeUnits {
		as := *b
		as.log = b.log.InUnit(u.seconds)
		if p, _, _ = as.find(); p.Clear {
			b.log = as.log
			return p, u.name
		}
	}
	return p, ""
}

// place finds where the log lies, or takes what is said.
func (a *MeterAnswer) place(q MeterRequest, b *besideRun) error {
	if q.OffsetS != nil {
		a.OffsetS = *q.OffsetS
		a.Correlation = finite(meter.Correlation(b.curve(), b.own, a.OffsetS+b.shift()))
		if !a.follows() {
			if p, _, _ := b.find(); p.Clear {
				a.BetterOffsetS, a.better = &p.Offset, p.Correlation
			}
		}
		return nil
	}
	p, far, ok := b.find()
	if !p.Clear {
		if in, unit := b.findUnit(); unit != "" {
			p, far, ok, a.TimeUnit = in, false, true, unit
		}
	}
	const how = "give the offset by hand, what is to be added to the log's times: --offset 3.2s (--offset 0s where the meter's clock is right, or the log began with the run)"
	switch {
	case b.beside() && !p.Clear, far && p.Clear:
		return b.otherTimes(p, ok)
	case !ok:
		return fmt.Errorf("nothing tells where the log of %s lies: the run measured no power that moves, is too short, or lies outside the log; %s", q.File, how)
	case !p.Clear && p.Correlation < meter.LeastCorrelation:
		return fmt.Errorf("no place of the log of %s fits to the run: its power agrees best, with a correlation of %.2f, at an offset of %+.1f s; is it the right file, and the right run? Else %s",
			q.File, p.Correlation, p.Offset, how)
	case !p.Clear:
		return fmt.Errorf("several places of the log of %s fit to the run: one with a correlation of %.2f, at an offset of %+.1f s, another with %.2f; %s", q.File, p.Correlation, p.Offset, p.Rival, how)
	}
	a.OffsetS, a.Found, a.Correlation = p.Offset, true, &p.Correlation
	return nil
}

// beside tells whether less than half of the run lies in the log by the log's own clock.
func (b *besideRun) beside() bool {
	begin, end := b.span()
	return b.dated() && min(end, b.length)-max(begin, 0) < b.length/2
}

// span is from when to when the log was taken, s since the run's start.
func (b *besideRun) span() (begin, end float64) {
	at := b.log.At
	return at[0] + b.shift(), at[len(at)-1] + b.shift()
}

// otherTimes says that the log was taken at another time than the run, and where it fits.
// looked is whether there was anything to look for a place by.
func (b *besideRun) otherTimes(p meter.Alignment, looked bool) error {
	begin, end := b.span()
	fits, offset := "nothing tells where it fits", "--offset -1h where it goes an hour fast"
	if looked {
		fits = "nowhere does its power follow that of the run"
	}
	if p.Clear {
		fits = fmt.Sprintf("its power fits to the run's at an offset of %+.1f s%s, with a correlation of %.2f", p.Offset, zoneWords(p.Offset), p.Correlation)
		offset = fmt.Sprintf("--offset %.1fs", p.Offset)
	}
	return fmt.Errorf("%s was logged from %s to %s, the run was recorded from %s to %s; %s: is it the right file, and the right run? If the meter's clock is wrong, say by how much: %s",
		b.file, b.clockTime(begin), b.clockTime(end), b.clockTime(0), b.clockTime(b.length), fits, offset)
}

// zoneWords says of an offset that it is that of another time zone: zones are whole quarters
// of an hour apart.
func zoneWords(offset float64) string {
	const quarter, off = 15 * 60, 90
	if math.Abs(offset) < 2*quarter-off || math.Abs(offset) > 26*3600+off || math.Abs(offset-quarter*math.Round(offset/quarter)) > off {
		return ""
	}
	return fmt.Sprintf(" (about %g h: another time zone, or summer time?)", math.Abs(math.Round(offset/quarter))/4)
}

func (b *besideRun) clockTime(seconds float64) string {
	return b.started.Add(time.Duration(seconds * float64(time.Second))).In(b.zone).Format("2006-01-02 15:04:05 UTC-07:00")
}

// follows tells whether the log's power follows the run's own at its place.
func (a *MeterAnswer) follows() bool {
	return a.Correlation != nil && *a.Correlation >= meter.LeastCorrelation
}

// fitsElsewhere says where the log clearly fits; "" where that is not known.
func (a *MeterAnswer) fitsElsewhere() string {
	if a.BetterOffsetS == nil {
		return ""
	}
	return fmt.Sprintf("; its power fits to the run's at an offset of %+.1f s, with a correlation of %.2f", *a.BetterOffsetS, a.better)
}

// little says how little the log's power follows the run's where it was said to lie.
func (a *MeterAnswer) little() string {
	if a.Correlation == nil {
		return fmt.Sprintf("at the offset that was given, %+.1f s, nothing tells whether the log's power follows the run's", a.OffsetS)
	}
	return fmt.Sprintf("at the offset that was given, %+.1f s, the log's power follows the run's little (correlation %.2f, %.1f is wanted)", a.OffsetS, *a.Correlation, meter.LeastCorrelation)
}

// elsewhere is why a log is not joined where it was said to lie.
func (a *MeterAnswer) elsewhere() error {
	return errors.New(a.little() + a.fitsElsewhere() + fmt.Sprintf(": leave --offset out, or give --offset %.1fs; --force joins it as it was given, and doubts the run", *a.BetterOffsetS))
}

// disagrees are the doubts about a log whose power does not follow the run's.
func (a *MeterAnswer) disagrees() []run.Finding {
	if a.BetterOffsetS == nil && (a.Correlation == nil || a.follows()) {
		return nil
	}
	return []run.Finding{{Code: run.MeterDisagrees, Severity: run.SeverityDoubt, Text: a.little() + a.fitsElsewhere()}}
}
