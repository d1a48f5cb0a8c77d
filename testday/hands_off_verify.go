package testday

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"sweepd/run"
)

// ending is how a run of the day came to its end.
type ending struct {
	run      run.Run
	chosen   *chosen
	done     JobDone
	workload WorkloadCommand

	ended      string // why the day ended it itself
	slotsFault bool   // which may be for what the slot is
	failure    string // why the job did not come to its end
	runnerLost bool   // which is no fault of the slot
	looks      bool   // whether all is still as it was set
	notInForce string // what was not, at the end
}

// results are the job's, with the directions that the workload's configuration says.
func (e *ending) results() map[string]run.Result {
	list := map[string]run.Result{}
	for name, x := range e.done.Results {
		if direction(name, e.workload.Lower) == run.Lower {
			x.Better = run.Lower
		}
		list[name] = x
	}
	return list
}

// failed says what went wrong with the job; "" for nothing.
func (e *ending) failed() string { return cmp.Or(e.ended, e.failure, e.done.Failure) }

// endRun stops a run and judges it: it counts, or is set aside and repeated a few times.
func (d *HandsOffDay) endRun(t *turn, e ending) error {
	c := e.chosen
	failure := run.VisibleLines(e.failed())
	if len(failure) > mostFailure {
		failure = oneLine(failure)
	}
	record, err := d.stop(run.Stop{Run: e.run.ID, Results: e.results(), Failure: failure, By: ByPlan})
	if err != nil {
		return pauses("%v", err)
	}
	if e.looks { // not before: reading takes power and time, which are no part of the run
		e.notInForce = d.notInForce(context.Background())
	}
	if tail := lastLines(e.done.Tail); tail != "" && (e.done.Failure != "" || e.done.Missing != "") {
		d.tell("run %s: the command printed last: %s", run.ShortID(record.ID), tail)
	}
	if e.done.LeftBehind {
		d.tell("run %s: processes that outlived the command were ended", run.ShortID(record.ID))
	}
	why, disobeyed := e.verdict(record)
	if why == "" {
		return d.counts(c, record)
	}
	if err := d.reject(record, why); err != nil {
		return err
	}
	d.keep(func(k *handsOffKept) {
		k.InVain++
		k.InRow++
		k.Restarts = 0
	})
	said := fmt.Sprintf("run %s does not count: %s", run.ShortID(record.ID), why)
	switch {
	case e.slotsFault: // it gets too hot with it, say
		return d.cellFailed(c, said)
	case e.ended != "", e.runnerLost:
		d.tell("%s", said)
		return cmp.Or(d.tooManyInRow(), errAgain)
	case disobeyed:
		return d.disobeyed(t, c, said, why)
	}
	err = d.cellFailed(c, said)
	if e.notInForce != "" && !d.putBack(t.runs) { // what the next slot needs is set anew
		return errAgain
	}
	return err
}

// lastLines are the last of what a command printed, on one line of at most 200 bytes.
func lastLines(text string) string {
	text = strings.Join(strings.Fields(run.VisibleLines(text)), " ")
	const most = 200
	if len(text) <= most {
		return text
	}
	start := len(text) - most
	for !utf8.RuneStart(text[start]) {
		start++
	}
	return "…" + text[start:]
}

// reject sets a run aside that is not yet.
func (d *HandsOffDay) reject(r run.Record, why string) error {
	if r.State == run.Rejected {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), stopTimeout)
	defer cancel()
	if err := d.o.Reject(ctx, r.ID, reasonOf(why)); err != nil {
		return pauses("run %s does not count (%s), and could not be rejected: %v; `sweepd run reject %[1]s --why TEXT` does it", run.ShortID(r.ID), why, err)
	}
	return nil
}

// mostFailure is how much a run keeps of what went wrong, bytes, see run.Stop.Check.
const mostFailure = 2000

// reasonOf is a reason as `run reject` takes it.
func reasonOf(text string) string {
	text = run.Visible(text)
	for len(text) > 200 {
		runes := []rune(text)
		text = string(runes[:len(runes)-1])
	}
	return strings.TrimSpace(text) // as a reason has to be
}

// verdict says why a run does not count; "" where it does. disobeyed tells that the device
// does not keep to the setting, by the power that it took.
func (e *ending) verdict(r run.Record) (why string, disobeyed bool) {
	switch off := overLimit(&r); {
	case e.failed() != "":
		return e.failed(), false
	case r.State == run.Rejected:
		return cmp.Or(r.Why, "it was rejected"), false
	case r.State != run.Finished:
		return "it is " + string(r.State), false
	case e.notInForce != "":
		return e.notInForce + " at the end of the run: the setting did not stay", false
	case off != "":
		return off, true
	}
	if off := settingNotTaken(&r, e.chosen.status.SettingRead, e.chosen.runs); off != "" {
		return off, true
	}
	for _, f := range r.Findings {
		if f.Code == run.SettingChanged {
			return f.Text, false
		}
	}
	if len(r.Results) == 0 {
		return cmp.Or(e.done.Missing, "it has no result"), false
	}
	return "", false
}

// shortRun is the longest run in which an allowance above a limit, as processors have it
// for a while, cannot be told from disobedience; judge looks at second halves of 3 s and
// more.
const shortRun = 6.0

// overLimit says that the power measured over a run lies above its setting by more than
// the tolerance of judge, and not only in a first allowance; "" where it does not, or no
// power was measured. Less than the setting is all that a workload may want.
func overLimit(r *run.Record) string {
	limit, ok := r.Setting.Watts()
	if !ok || r.PackageW == nil || !r.HasFinding(run.SettingDisobeyed) && r.Seconds() >= shortRun {
		return ""
	}
	if *r.PackageW <= limit+math.Max(0.1*limit, 0.5) {
		return ""
	}
	return fmt.Sprintf("the package took %.1f W in the mean at a setting of %s: the device does not keep to it", *r.PackageW, r.Setting.Setting)
}

// settingNotTaken says that a setting above the one before was not taken, though it reads back: the
// power was what the one before allows, and more was in it, since it was held as a limiter
// holds it, or the workload took more at another setting above the one before; "" where
// nothing shows that.
func settingNotTaken(r *run.Record, before *run.SourcedSetting, earlier []run.Run) string {
	limit, ok := r.Setting.Watts()
	if !ok || before == nil || r.PackageW == nil {
		return ""
	}
	former, ok := before.Watts()
	above := former + math.Max(0.1*former, 0.5)
	if !ok || limit <= above || math.Abs(*r.PackageW-former) > math.Max(0.02*former, 0.3) {
		return ""
	}
	more := func(x run.Run) bool {
		return x.State == run.Finished && x.Workload == r.Workload && x.Supply == r.Supply && x.Variant == r.Variant && x.PackageW != nil && *x.PackageW > above
	}
	if !r.HasFinding(run.SettingDisobeyed) && !slices.ContainsFunc(earlier, more) {
		return ""
	}
	return fmt.Sprintf("the package took %.1f W in the mean at a setting of %s, what it was allowed before: the device has not taken it", *r.PackageW, r.Setting.Setting)
}

// counts takes note of a run that fills its slot.
func (d *HandsOffDay) counts(c *chosen, r run.Record) error {
	_, watts := c.Setting.Watts()
	unverified := watts && r.PackageW == nil
	var doubts []string
	for _, f := range r.Findings {
		if f.Severity == run.SeverityDoubt {
			doubts = append(doubts, string(f.Code))
		}
	}
	d.keep(func(k *handsOffKept) {
		k.Done++
		k.InRow, k.Restarts = 0, 0
		if unverified {
			k.Unverified++
		}
		if len(doubts) > 0 {
			k.Doubted++
		}
		if at := c.Setting.String() + " on " + string(c.Supply); r.HasFinding(run.SettingDisobeyed) && !slices.Contains(k.Disobeyed, at) {
			k.Disobeyed = append(k.Disobeyed, at)
		}
		k.workedAll(tripKey)
		k.worked(cellKey(c.Cell))
		k.worked("set " + c.Cell.String())
		k.worked(powerKey(c.Cell))
	})
	but := ""
	if len(doubts) > 0 {
		but = "; doubted: " + strings.Join(doubts, ", ")
	}
	d.tell("run %s of %s counts: %s%s", run.ShortID(r.ID), c.Cell, typedResults(r.Results), but)
	return nil
}

// cellFailed takes note of a run that came to nothing: the slot is repeated, or skipped.
func (d *HandsOffDay) cellFailed(c *chosen, why string) error {
	var n int
	d.keep(func(k *handsOffKept) { n = k.failed(cellKey(c.Cell)) })
	if n >= d.o.Tries {
		d.skip(c, why)
		return errInVain
	}
	d.tell("%s; it is repeated (%d of %d)", why, n+1, d.o.Tries)
	return errInVain
}

// powerTries is how often a device may take more than its setting before that is skipped.
const powerTries = 2

// disobeyed takes note that the device took more power than its setting: once may be
// chance, after that all slots with it on this supply are skipped.
func (d *HandsOffDay) disobeyed(t *turn, c *chosen, said, why string) error {
	var n int
	d.keep(func(k *handsOffKept) { n = k.failed(powerKey(c.Cell)) })
	if n < powerTries {
		d.tell("%s; it is tried once more", said)
		return errInVain
	}
	if !d.putBack(t.runs) {
		return errAgain
	}
	d.tell("%s", said)
	d.keep(func(k *handsOffKept) {
		k.worked(powerKey(c.Cell))
		k.Cannot = append(k.Cannot, cannotSet{Key: "setting", Value: c.Setting.String(), Supply: c.Supply, Why: oneLine(why)})
	})
	return errInVain
}

// elapsed is how long the day went on, not paused.
func (d *HandsOffDay) elapsed() time.Duration {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.countElapsedLocked()
	return time.Duration(d.kept.ElapsedS * float64(time.Second))
}
