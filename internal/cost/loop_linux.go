package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"sweepd/internal/simdevice"
)

// loopSensors are the sensors of the loops that are compared.
const loopSensors = 40

// loopInterval is the quickest pace that the agent has.
const loopInterval = 100 * time.Millisecond

// loopWarmUp lets the loops settle before they are measured: the agent's
// batches have all their memory after two of a second.
const loopWarmUp = 2500 * time.Millisecond

// loopTurns are the costs of both loops, turn by turn.
type loopTurns struct{ bare, agent []loopCost }

// takeTurns has the bare loop and the agent's read the same files in turn.
func takeTurns(ctx context.Context, dir string, turns int, warmUp, turn time.Duration) (t loopTurns, err error) {
	d, err := startDevice(dir, simdevice.Config{Without: notThermometers, Thermometers: loopSensors})
	if err != nil {
		return t, err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	files, err := filepath.Glob(filepath.Join(d.SysRoot(), "class/hwmon/*/temp*_input"))
	if err != nil || len(files) != loopSensors {
		return t, fmt.Errorf("%d files of thermometers, %d are wanted (%v)", len(files), loopSensors, err)
	}
	task := loopTask{Interval: loopInterval, WarmUp: warmUp, For: turn}
	for range turns {
		task.Bare, task.Sys = files, ""
		bare, err := inChild[loopCost](ctx, childTask{Loop: &task})
		if err != nil {
			return t, err
		}
		task.Bare, task.Sys = nil, d.SysRoot()
		agent, err := inChild[loopCost](ctx, childTask{Loop: &task})
		if err != nil {
			return t, err
		}
		t.bare, t.agent = append(t.bare, bare), append(t.agent, agent)
	}
	return t, nil
}

// ratio is the median over the turns of the agent's CPU time over the bare
// loop's.
func (t loopTurns) ratio() float64 {
	var ratios []float64
	for i := range t.bare {
		ratios = append(ratios, t.agent[i].CPU/t.bare[i].CPU)
	}
	return median(ratios)
}

func (b *bench) measureLoop(ctx context.Context) error {
	b.say("the loop: %d turns of %v, with the bare loop between", b.turns, b.turn)
	t, err := takeTurns(ctx, filepath.Join(b.dir, "loop"), b.turns, loopWarmUp, b.turn)
	if err != nil {
		return err
	}
	out := table{
		title:   fmt.Sprintf("One paced sweep of %d sensors at 10 Hz", loopSensors),
		columns: []string{"loop", "CPU, µs", "against bare", "allocations", "wakeups", "late p50, µs", "late p99, µs"},
	}
	out.row(medians(t.bare).cells("bare timerfd and preads", 1)...)
	out.row(medians(t.agent).cells("the agent's: read, label, integrate, hand over", t.ratio())...)
	out.row("wanted", "", "1.5, better 1.2", "0", "2", "", "")
	out.note = fmt.Sprintf("Medians of %d alternating turns of %v, each in a process of its own, over the same files in memory; all threads are counted, of which the Go runtime's own monitor wakes about twice a sweep in the bare loop. Late is against the grid of the ticks.", b.turns, b.turn)
	b.tables = append(b.tables, out)
	return nil
}

// medians are those of each figure over the turns of a loop.
func medians(turns []loopCost) loopCost {
	of := func(figure func(loopCost) float64) float64 {
		var list []float64
		for _, c := range turns {
			list = append(list, figure(c))
		}
		return median(list)
	}
	return loopCost{
		CPU:     of(func(c loopCost) float64 { return c.CPU }),
		Wakeups: of(func(c loopCost) float64 { return c.Wakeups }),
		Allocs:  of(func(c loopCost) float64 { return c.Allocs }),
		Late50:  of(func(c loopCost) float64 { return c.Late50 }),
		Late99:  of(func(c loopCost) float64 { return c.Late99 }),
	}
}

func (c loopCost) cells(name string, ratio float64) []string {
	return []string{name, fmt.Sprintf("%.0f", c.CPU), fmt.Sprintf("%.2f", ratio), fmt.Sprintf("%.2f", c.Allocs),
		fmt.Sprintf("%.2f", c.Wakeups), fmt.Sprintf("%.0f", c.Late50), fmt.Sprintf("%.0f", c.Late99)}
}
