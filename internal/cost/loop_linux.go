package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"
)

// loopSensors are the sensors of the loops that are compared.
const loopSensors = 40

// loopInterval is the quickest pace that the agent has.
const loopInterval = 100 * time.Millisecond

// loopWarmUp lets the loops settle before they are measured: the agent's
// journal has all its memory after two batches of a second.
const loopWarmUp = 2500 * time.Millisecond

// loopTurns are the costs of both loops, turn by turn.
type loopTurns struct{ bare, agent []loopCost }

// takeTurns has the bare loop and the agent's read the same files in turn. The
// files change ten times a second, as sensors do.
func takeTurns(ctx context.Context, dir string, turns int, warmUp, turn time.Duration) (t loopTurns, err error) {
	sys := filepath.Join(dir, "sys")
	files, err := newThermometers(sys, loopSensors)
	if err != nil {
		return t, err
	}
	defer func() { err = errors.Join(err, files.Close()) }()
	changing, stop := context.WithCancel(ctx)
	changed := make(chan error, 1)
	go func() { changed <- files.keepWandering(changing) }()
	for range turns {
		task := loopTask{Interval: loopInterval, WarmUp: warmUp, For: turn}
		for _, loop := range []struct {
			bare  []string
			costs *[]loopCost
		}{{files.paths(), &t.bare}, {nil, &t.agent}} {
			var c loopCost
			task.Bare, task.Sys = loop.bare, sys
			if err = inChild(ctx, childTask{Loop: &task}, &c); err != nil {
				break
			}
			*loop.costs = append(*loop.costs, c)
		}
	}
	stop()
	return t, errors.Join(err, <-changed)
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
	out.row(append([]string{"bare timerfd and preads"}, t.cells(t.bare, "1")...)...)
	out.row(append([]string{"the agent's: read, label, integrate, hand over"}, t.cells(t.agent, fmt.Sprintf("%.2f", t.ratio()))...)...)
	out.row("wanted", "", "1.5, better 1.2", "0", "2", "", "")
	out.note("Medians of %d alternating turns of %v, each in a process of its own, over the same files in memory; all threads are counted, of which the Go runtime's own monitor wakes about twice a sweep in the bare loop. Late is against the grid of the ticks.", b.turns, b.turn)
	b.tables = append(b.tables, out)
	return nil
}

func (t loopTurns) cells(costs []loopCost, ratio string) []string {
	return []string{
		fmt.Sprintf("%.0f", medianOf(costs, func(c loopCost) float64 { return c.CPU })), ratio,
		fmt.Sprintf("%.2f", medianOf(costs, allocsOf)),
		fmt.Sprintf("%.2f", medianOf(costs, wakeupsOf)),
		fmt.Sprintf("%.0f", medianOf(costs, func(c loopCost) float64 { return quantile(0.5, c.Late) })),
		fmt.Sprintf("%.0f", medianOf(costs, func(c loopCost) float64 { return quantile(0.99, c.Late) })),
	}
}

func allocsOf(c loopCost) float64  { return c.Allocs }
func wakeupsOf(c loopCost) float64 { return c.Wakeups }

func medianOf(costs []loopCost, figure func(loopCost) float64) float64 {
	var list []float64
	for _, c := range costs {
		list = append(list, figure(c))
	}
	return median(list)
}
