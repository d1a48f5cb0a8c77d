package simlab

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"sweepd/internal/simdevice"
	"sweepd/run"
)

// Day is a test day of one simulated device: in every pass each workload once at
// each setting, in random order, the two supplies in blocks whose order
// alternates from pass to pass.
type Day struct {
	Settings []float64 // W
	Plays    []Play
	Passes   int
	Mistakes bool // let three runs go wrong, as on a real day
	Seed     uint64
	// Done is called after each run, with those of the day so far.
	Done func(runs int)
}

// Play is a workload and how long it is played; 0 means until its work is done.
type Play struct {
	Workload simdevice.Workload
	For      time.Duration
}

// Runs is how many runs the day has.
func (d Day) Runs() int { return d.Passes * 2 * len(d.Settings) * len(d.Plays) }

// plannedRun is one run to do.
type plannedRun struct {
	setting float64
	play    Play
}

// mistake is something that goes wrong in one run.
type mistake int

const (
	noMistake mistake = iota
	unplugged         // the charger is pulled in mid-run
	noResult          // the result is forgotten
	notSet            // the setting is declared, but the device is left at another
)

// Play plays the day on a bench.
func (d Day) Play(b *Bench) error {
	random := rand.New(rand.NewPCG(d.Seed, 0x5eed))
	wrong := d.planMistakes(random)
	done := 0
	for pass := range d.Passes {
		for half := range 2 {
			onMains := (pass+half)%2 == 0
			if err := prepare(b, onMains); err != nil {
				return err
			}
			for _, c := range d.shuffled(random) {
				if err := b.play(c, onMains, wrong[done]); err != nil {
					return fmt.Errorf("%s at %g W: %w", c.play.Workload.Name, c.setting, err)
				}
				done++
				if d.Done != nil {
					d.Done(done)
				}
			}
		}
	}
	return nil
}

// planMistakes chooses which runs go wrong. The charger can be pulled only on
// mains, which the first block is on.
func (d Day) planMistakes(random *rand.Rand) map[int]mistake {
	block := len(d.Settings) * len(d.Plays)
	if !d.Mistakes || block < 3 {
		return nil
	}
	return map[int]mistake{
		random.IntN(block):             unplugged,
		block + random.IntN(block):     noResult,
		2*block + random.IntN(block/2): notSet,
	}
}

func (d Day) shuffled(random *rand.Rand) []plannedRun {
	var planned []plannedRun
	for _, p := range d.Plays {
		for _, s := range d.Settings {
			planned = append(planned, plannedRun{s, p})
		}
	}
	random.Shuffle(len(planned), func(i, j int) { planned[i], planned[j] = planned[j], planned[i] })
	return planned
}

// Charging between the blocks: until the device stops charging, so that the
// battery rests in the runs on mains and lasts for those on battery. A device
// starts charging again only well below full.
const (
	nearlyFull = 0.9
	chargeStep = time.Minute
	longCharge = 6 * time.Hour
	coolDown   = 40 * time.Second
	longCool   = 10 * time.Minute
)

// prepare brings the device to the supply of a block with a full battery.
func prepare(b *Bench, onMains bool) error {
	b.Device.Plug()
	if err := b.Rest(coolDown); err != nil {
		return err
	}
	for waited := time.Duration(0); !charged(b.Device.Truth()); waited += chargeStep {
		if waited > longCharge {
			return fmt.Errorf("the battery is at %.0f %% after %v on mains", 100*b.Device.Truth().ChargeRatio, longCharge)
		}
		if err := b.Rest(chargeStep); err != nil {
			return err
		}
	}
	if !onMains {
		b.Device.Unplug()
	}
	return b.Rest(coolDown)
}

func charged(t simdevice.Truth) bool { return t.ChargeRatio > nearlyFull && t.DischargeW >= 0 }

// play does one run. On battery it charges first if the content would not
// last.
func (b *Bench) play(c plannedRun, onMains bool, wrong mistake) error {
	if !onMains && b.Device.Truth().ChargeRatio < 0.15 {
		if err := prepare(b, false); err != nil {
			return err
		}
	}
	set := c.setting
	if wrong == notSet {
		set = c.setting + 6
	}
	b.Device.SetLimit(set)
	if err := b.untilReady(set); err != nil {
		return err
	}
	start := run.Start{Workload: c.play.Workload.Name, Setting: run.Watts(c.setting)}
	switch wrong {
	case unplugged:
		return b.playUnplugged(c, start)
	case noResult:
		if _, err := b.Start(start); err != nil {
			return err
		}
		if err := b.work(c.play.Workload, c.play.For); err != nil {
			return err
		}
		b.Device.StopWorkload()
		_, err := b.Stop(run.Stop{})
		return err
	}
	_, _, err := b.Play(c.play.Workload, start, c.play.For)
	return err
}

// untilReady lets the device cool down until the agent finds it fit to start a run
// at a setting.
func (b *Bench) untilReady(watts float64) error {
	for waited := coolDown; waited < longCool; waited += IdleEvery {
		step := IdleEvery
		if waited == coolDown {
			step = coolDown
		}
		if err := b.Rest(step); err != nil {
			return err
		}
		r, err := b.Agent.Ready(context.Background(), run.Want{Setting: run.Watts(watts)})
		if err != nil || r.Fit {
			return err
		}
	}
	return nil
}

// playUnplugged pulls the charger in the middle of a run.
func (b *Bench) playUnplugged(c plannedRun, start run.Start) error {
	if _, err := b.Start(start); err != nil {
		return err
	}
	half := max(c.play.For/2, 10*time.Second)
	if err := b.work(c.play.Workload, half); err != nil {
		return err
	}
	b.Device.Unplug()
	if err := b.Pass(half); err != nil {
		return err
	}
	played, _ := b.Device.StopWorkload()
	b.Device.Plug()
	_, err := b.Stop(run.Stop{Results: Results(played)})
	return err
}

// Results is what a played workload reports, as a run keeps it.
func Results(p simdevice.Played) map[string]run.Result {
	better := run.Higher
	if p.LowerIsBetter {
		better = run.Lower
	}
	return map[string]run.Result{p.Metric: {Value: p.Value, Unit: p.Unit, Better: better}}
}
