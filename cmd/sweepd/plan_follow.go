package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"os"
	"slices"
	"time"

	"golang.org/x/term"

	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

const (
	// dayEvery is how often the agent is asked how the day stands, dayWait how long it may
	// take to say so.
	dayEvery = time.Second
	dayWait  = 5 * time.Second
	// signalWait is how long the signal that ended a context may take to arrive by itself.
	signalWait = 50 * time.Millisecond
	// toldBefore is how many sentences are shown of a day that went on before.
	toldBefore = 5
)

// dayView shows a day on the terminal as it goes on.
type dayView struct {
	app  *app
	line bool // the last line is one that changes
	last testday.HandsOff
	told *testday.Told // that was shown last
	lost bool          // the agent does not answer, which was said
	gone bool          // the terminal was closed
	mute bool          // a question stands on the terminal, or there is none any more
}

// say shows a sentence of its own.
func (v *dayView) say(words string, tone text.Tone) {
	if v.gone {
		return
	}
	v.clear()
	terminal := v.app.terminal(v.app.err)
	fmt.Fprintln(v.app.err, terminal.PaintLines(terminal.Wrap(words, "  "), tone))
}

func (v *dayView) clear() {
	if v.line {
		fmt.Fprint(v.app.err, "\r\x1b[K") // ECMA-48: erase in line
		v.line = false
	}
}

// show shows what is new of a day, and in one line how it stands.
func (v *dayView) show(d testday.HandsOff) {
	if v.lost {
		v.lost = false
		v.say("the agent answers again", toneGood)
	}
	for _, t := range v.news(d.Told) {
		v.say(t.At.Local().Format(time.TimeOnly)+" "+t.Text, text.Plain)
	}
	if d.State == testday.Hand && !slices.Equal(d.Hand, v.last.Hand) {
		for _, step := range d.Hand {
			v.say("BY HAND: "+step, toneDoubt)
		}
	}
	if d.State == testday.Paused && v.last.State != testday.Paused {
		why := "it is paused"
		if v.last.State == "" { // else it was told just now
			why += " (" + d.Why + ")"
		}
		v.say(why+": `sweepd plan resume` goes on, `sweepd plan stop` ends the day", toneDoubt)
	}
	if waits := d.State == testday.Waiting || d.State == testday.Cooling; waits && d.State != v.last.State && !isTerminal(v.app.err) {
		v.say(lineOf(d), text.Plain) // no line that changes says it
	}
	v.last = d
	if terminal := v.app.terminal(v.app.err); isTerminal(v.app.err) && goesOn(d) && !v.mute {
		fmt.Fprintf(v.app.err, "\r\x1b[K%s", text.Clip(run.Visible(lineOf(d)), terminal.Columns()-1))
		v.line = true
	}
}

// lineOf is how a day stands for a line that changes, what matters most first.
func lineOf(d testday.HandsOff) string {
	words := string(d.State)
	if d.Position > 0 {
		words = fmt.Sprintf("%d of %d", d.Position, d.Slots)
	}
	if p := d.Progress; p.Left > 0 && !p.ExpectedEnd.IsZero() {
		words += ", expected end " + p.ExpectedEnd.Short(time.Now(), time.Local)
	}
	return words + ": " + d.Text
}

// news are the sentences that were not shown yet.
func (v *dayView) news(list []testday.Told) []testday.Told {
	if len(list) == 0 {
		return nil
	}
	from := max(0, len(list)-toldBefore)
	if v.told != nil {
		from = 1 + slices.IndexFunc(list, func(t testday.Told) bool { return t.At.Equal(v.told.At.Time) && t.Text == v.told.Text })
	}
	last := list[len(list)-1]
	v.told = &last
	return list[from:]
}

// follow shows the day until it is over or somebody leaves, and carries out its workloads
// meanwhile.
func (a *app) follow(ctx context.Context, at respondent, carries bool, f runnerFlags) error {
	signals, stop := testday.EndingSignals()
	defer stop()
	left := ctx.Done()
	ctx = context.WithoutCancel(ctx)
	v := &dayView{app: a}
	id := rand.Text()
	var runner <-chan error // its end
	leave := func() {}
	if carries {
		var running context.Context
		running, leave = context.WithCancel(ctx)
		runner = a.goRun(running, a.runner(at, f, id, nil))
	}
	end := func() { // and wait until what it carries out has ended
		leave()
		if runner != nil {
			<-runner
		}
	}
	defer v.clear()
	tick := time.NewTicker(dayEvery)
	defer tick.Stop()
	var answers <-chan string // to the question what becomes of the day
	other := false
	for {
		d, err := a.askDay(ctx, at)
		switch {
		case err != nil && !v.lost:
			v.lost = true
			v.say(fmt.Sprintf("how the day stands is not known: %v", err), toneBad)
		case err == nil:
			v.show(d)
			if is := carries && d.Runner != nil && d.Runner.ID != id; is != other {
				other = is
				if is {
					v.say(fmt.Sprintf("another runner carries out the workloads, as %s; this one takes over when that one has left", d.Runner.User), text.Plain)
				}
			}
			switch {
			case !goesOn(d):
				end()
				v.clear()
				return a.printOver(d)
			case v.gone && other:
				end()
				return nil
			}
		}
		var got os.Signal
		select {
		case <-tick.C:
			continue
		case err := <-runner:
			runner = nil
			if err != nil {
				return fmt.Errorf("the workloads are not carried out here any more: %w; the day goes on, and waits for another runner: `sweepd plan stop` ends it", err)
			}
			continue
		case answer := <-answers:
			answers, v.mute = nil, false
			switch answer {
			case "s", "n":
				v.stop(ctx, at, answer == "n")
				continue
			case "":
				v.say("it goes on", text.Plain)
				continue
			case "l":
			default:
				v.say(fmt.Sprintf("%q is none of them", run.Shorten(answer)), toneDoubt)
				v.mute = true
				answers = a.askLeave(v.last)
				continue
			}
		case got = <-signals:
			left = nil // by the same signal
		case <-left:
			left = nil
			select {
			case got = <-signals:
			case <-time.After(signalWait):
			}
		}
		if testday.ClosesTerminal(got) && carries && !other { // which changes nothing
			v.gone, v.mute, v.line = true, true, false
			continue
		}
		if got == os.Interrupt && answers == nil && carries && !other && a.sitsThere() {
			v.clear()
			v.mute = true
			answers = a.askLeave(v.last)
			continue
		}
		v.clear()
		had := carries && !other
		if had {
			fmt.Fprintln(a.err, "what is carried out here is ended …")
		}
		end()
		return a.sayLeft(had, v.lost || v.gone)
	}
}

// askDay asks how the day stands.
func (a *app) askDay(ctx context.Context, at respondent) (testday.HandsOff, error) {
	ctx, cancel := context.WithTimeout(ctx, dayWait)
	defer cancel()
	return at.agent.HandsOff(ctx)
}

// sitsThere tells whether somebody can answer a question.
func (a *app) sitsThere() bool {
	f, ok := a.in.(*os.File)
	return ok && !a.json && term.IsTerminal(int(f.Fd()))
}

// askLeave asks what becomes of a day whose workloads are carried out here.
func (a *app) askLeave(d testday.HandsOff) <-chan string {
	now, leave := "end the day now", "leave now: the day waits for another runner"
	if d.Run != "" {
		now += "; the run in progress is ended and rejected"
		leave = "leave now: the run in progress is ended and rejected, and the day waits for another runner"
	}
	question := fmt.Sprintf("\nThe workloads of this day are carried out in this terminal.\n  s      end the day after this run\n  n      %s\n  l      %s\n  Enter  go on\nWhich? [s/n/l] ", now, leave)
	c := make(chan string, 1)
	go func() {
		answer, _ := a.reply(question)
		c <- answer
	}()
	return c
}

// stop has the day end, after the run in progress or now.
func (v *dayView) stop(ctx context.Context, at respondent, now bool) {
	_, err := at.agent.StopHandsOff(ctx, testday.HandsOffRequest{By: byTyped(testday.ByPlanRun), Now: now})
	switch {
	case err != nil:
		v.say(fmt.Sprintf("the day could not be told to end: %v", err), toneBad)
	case !now && v.last.Run != "":
		v.say("the day ends after this run", text.Plain)
	default:
		v.say("the day ends now", text.Plain)
	}
}

// sayLeft says what becomes of a day that nobody looks at here any more.
func (a *app) sayLeft(hadRunner, lost bool) error {
	words := "the day goes on without this terminal"
	switch {
	case lost:
		words = "the agent does not answer: what the day does is not known here, and an agent that starts puts back first of all what was set"
	case hadRunner:
		words = "nothing is carried out here any more: the day goes on where another runner is, and else waits for one, `sweepd plan run` or `sweepd plan runner`"
	}
	_, err := fmt.Fprintln(a.err, a.terminal(a.err).Wrap(words+"; `sweepd plan status` says how it stands, `sweepd plan stop` ends it", "  "))
	return err
}

// printOver says how a day went that is over.
func (a *app) printOver(d testday.HandsOff) error {
	p := a.printer()
	for _, s := range d.Summary {
		p.Say(s, "  ", text.Plain)
	}
	if len(d.Summary) == 0 {
		p.Say("the day is over: "+d.Why, "  ", text.Plain)
	}
	for _, w := range d.Changed {
		p.Say(fmt.Sprintf("NOT PUT BACK: %s is %s, was %s; `sweepd actuators restore` tries again", w.Place(), w.Text, w.Was), "  ", toneBad)
	}
	return p.Err
}
