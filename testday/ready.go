package testday

import (
	"context"
	"fmt"
	"strings"
	"time"

	"sweepd/report/sentence"
	"sweepd/run"
)

const (
	// readyPause is the time between two questions of WaitReady: a device cools down
	// over minutes.
	readyPause = 2 * time.Second
	// handWait is how long WaitReady waits for a hand where nobody may be there: what was
	// just done is reported some seconds later.
	handWait = 10 * time.Second
)

// notStartedError is that nothing was started, for a reason that a person knows.
type notStartedError struct{ err error }

func (*notStartedError) Error() string   { return "not started" }
func (e *notStartedError) Unwrap() error { return e.err }

// WaitReady waits until the device is fit to start a run with such needs. It calls tell
// with the reasons each time that it is not. What only a hand can change is waited for
// where somebody is there to be told; else it is an error before long.
func WaitReady(ctx context.Context, a Agent, w run.Want, somebody bool, tell func(run.Readiness)) (run.Readiness, error) {
	var byHand time.Time // since when
	for {
		r, err := a.Ready(ctx, w)
		switch {
		case ctx.Err() != nil:
			return r, &notStartedError{ctx.Err()}
		case err != nil || r.Fit:
			return r, err
		case !r.ByHand():
			byHand = time.Time{}
		case byHand.IsZero():
			byHand = time.Now()
		case !somebody && time.Since(byHand) >= handWait:
			return r, fmt.Errorf("not started, and waiting does not help: %s", ReasonsSentence(r))
		}
		tell(r)
		select {
		case <-time.After(readyPause):
		case <-ctx.Done():
			return r, &notStartedError{ctx.Err()}
		}
	}
}

// Ready tells whether the device is fit to start a run with such needs.
func Ready(ctx context.Context, a Agent, w run.Want) (run.Readiness, error) {
	r, err := a.Ready(ctx, w)
	if r.Reasons == nil {
		r.Reasons = []run.Reason{}
	}
	return r, err
}

// ReadySentence says whether a device is fit to start, and if not, why, and for how long.
func ReadySentence(r run.Readiness) string {
	switch {
	case r.ByHand():
		return "not fit to start, and waiting does not help: " + ReasonsSentence(r)
	case !r.Fit:
		return "not yet fit to start: " + ReasonsSentence(r)
	case r.Celsius != nil && r.AboveBaseline != nil && *r.AboveBaseline >= 0:
		return fmt.Sprintf("fit to start: %.1f °C, %.1f K above its idle baseline", *r.Celsius, *r.AboveBaseline)
	case r.Celsius != nil && r.AboveBaseline != nil:
		return fmt.Sprintf("fit to start: %.1f °C, %.1f K below its idle baseline", *r.Celsius, -*r.AboveBaseline)
	}
	return "fit to start (its idle temperature is not known yet)"
}

// WaitingSentence says what a start waits for.
func WaitingSentence(r run.Readiness) string {
	if r.ByHand() {
		return "waiting for you: " + ReasonsSentence(r)
	}
	return "waiting: " + ReasonsSentence(r)
}

// ReasonsSentence says why a device is not fit to start, and for how long.
func ReasonsSentence(r run.Readiness) string {
	texts := make([]string, len(r.Reasons))
	for i, x := range r.Reasons {
		switch {
		case x.ByHand || x.Target == nil:
			texts[i] = x.WithAdvice()
		case x.ExpectedS != nil:
			texts[i] = x.Text + ", " + sentence.About(*x.ExpectedS)
		case x.Code == run.HotStart:
			texts[i] = x.Text + ", for how long cannot be told yet"
		default:
			texts[i] = x.WithAdvice()
		}
	}
	return strings.Join(texts, "; ")
}

// FitSentence says of a run that nothing speaks against that the device was fit to start
// it; r is how it was just before.
func FitSentence(r run.Readiness) string {
	if r.Fit {
		return ReadySentence(r)
	}
	texts := make([]string, len(r.Reasons))
	for i, x := range r.Reasons {
		texts[i] = x.Text
	}
	return "fit to start by now; a moment before: " + strings.Join(texts, "; ")
}

// StartedSentences say what speaks against a run that was started all the same: what the
// agent found, what the run was to have and has not, and a charge that was too low just
// before. What else kept the device from being fit then the agent has looked at again.
func StartedSentences(r run.Run, w run.Want, before run.Readiness) []string {
	var list []string
	say := func(text string) { list = append(list, "started all the same: "+text) }
	for _, f := range r.Findings {
		if f.Severity == run.SeverityNote {
			continue
		}
		text := fmt.Sprintf("%s, finding %s", f.Text, f.Code)
		if f.Advice != "" {
			text += "; " + f.Advice
		}
		say(text)
	}
	if w.Supply != run.SupplyUnknown && r.Supply != w.Supply {
		on := "an unknown supply"
		if r.Supply != run.SupplyUnknown {
			on = string(r.Supply)
		}
		say(fmt.Sprintf("it is on %s, and the plan wants %s: it does not count for the plan", on, w.Supply))
	}
	for _, x := range before.Reasons {
		if x.Code == run.BatteryReserve && !r.HasFinding(x.Code) {
			say(x.WithAdvice())
		}
	}
	return list
}
