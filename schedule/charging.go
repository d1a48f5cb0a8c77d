package schedule

import (
	"math"
	"slices"

	"sweepd/run"
)

// orderForCharging orders the stretches of a pass so that batteries recharge while runs on
// mains go on. The order of setups, the first supply of each and the random order of the
// cells within a level stay as they are; the rest depends on the estimates alone.
func (e Estimates) orderForCharging(stretches [][]run.Cell, hard []string) [][]run.Cell {
	var out [][]run.Cell
	longest := map[string]float64{} // of each device
	for _, cells := range stretches {
		if device := cells[0].Device; onBattery(cells) {
			longest[device] = max(longest[device], e.batteryLoad(cells))
		}
	}
	for i := 0; i < len(stretches); i++ {
		first := stretches[i]
		if i+1 < len(stretches) && setupKey(stretches[i+1][0], hard) == setupKey(first[0], hard) {
			i++
			out = append(out, e.orderSupplies(first, stretches[i], longest[first[0].Device])...)
		} else {
			out = append(out, first)
		}
	}
	return out
}

// orderSupplies orders the stretches of the two supplies of a setup. Usually the first
// supply comes whole, then the second, and the next setup (or the same one in the next
// pass) begins on the second. Where one charge does not last for two stretches on battery
// in a row, the tester would have to wait there; then the first supply is split, and half
// of it comes last, so that runs on mains lie between any two stretches on battery. Where
// one charge does not even last for one stretch, the two supplies alternate more often.
//
// The randomisation stays: a pass holds every cell once, the cells of each supply are in
// random order, and the supply that comes first changes from setup to setup and from pass
// to pass. Splitting balances a setup: both supplies have their middle about in its
// middle, so that an even drift over it favours neither.
//
// longest is the load of the longest stretch on battery of any setup of the device in the
// pass, Wh: the setups beside this one may have more cells.
func (e Estimates) orderSupplies(first, second []run.Cell, longest float64) [][]run.Cell {
	parts := e.alternations(first, second, longest)
	if parts == 0 {
		return [][]run.Cell{first, second}
	}
	outer, inner := e.splitByLoad(first, parts, 0.5), e.splitByLoad(second, parts, 0)
	var out [][]run.Cell
	for i := range outer {
		out = append(out, outer[i])
		if i < len(inner) {
			out = append(out, inner[i])
		}
	}
	return slices.DeleteFunc(out, func(part []run.Cell) bool { return len(part) == 0 })
}

// alternations is into how many parts the second supply of a setup is split: the fewest
// for which one charge lasts for every part on battery that has more than one run. It is
// 0, for no split, where one charge lasts for this stretch and the longest, and where the
// battery's energy is unknown.
func (e Estimates) alternations(first, second []run.Cell, longest float64) int {
	battery, shift := first, 0.5
	if !onBattery(first) {
		battery, shift = second, 0
	}
	b, energyKnown := e.battery(battery[0].Device)
	usable := b.FullWh * (1 - b.Reserve)
	if !energyKnown || e.batteryLoad(battery)+longest <= usable {
		return 0
	}
	n := max(1, int(math.Ceil(e.batteryLoad(battery)/usable)))
	for n < len(battery) && slices.ContainsFunc(e.splitByLoad(battery, n, shift), func(part []run.Cell) bool {
		return len(part) > 1 && e.batteryLoad(part) > usable
	}) {
		n++
	}
	return n
}

// splitByLoad splits cells of one supply, in their order, into n parts of about equal
// batteryLoad; with a shift of 0.5 into n + 1 parts, of which the first and the last have
// half as much as the others.
func (e Estimates) splitByLoad(cells []run.Cell, n int, shift float64) [][]run.Cell {
	parts := make([][]run.Cell, int(math.Ceil(float64(n)+shift)))
	total, before := e.batteryLoad(cells), 0.0
	for _, c := range cells {
		load := e.batteryLoad([]run.Cell{c})
		middle := (before + load/2) / total
		i := int(math.Ceil(middle*float64(n)+shift)) - 1
		parts[i] = append(parts[i], c)
		before += load
	}
	return parts
}

// batteryLoad is what cells of one supply do to the battery: the energy that runs on
// battery take from it, Wh, or the time for which runs on mains let it charge, s.
func (e Estimates) batteryLoad(cells []run.Cell) (sum float64) {
	for _, c := range cells {
		if c.Supply == run.Battery {
			sum += e.energyWh(c)
		} else {
			sum += e.slotS(c)
		}
	}
	return sum
}

// planCharging estimates the content of each battery through the plan, full at the start,
// and sets for each run on battery the charge that it needs and the wait for charging.
// When the tester has to wait, it is for a charge that lasts for the rest of the stretch.
func (p *Plan) planCharging(e Estimates) {
	content := map[string]float64{} // Wh
	for i := range p.Slots {
		s := &p.Slots[i]
		s.NeedsCharge, s.WaitS = nil, 0
		b, energyKnown := e.battery(s.Device)
		if !energyKnown {
			continue
		}
		have, ranBefore := content[s.Device]
		if !ranBefore {
			have = b.FullWh
		}
		if s.Supply != run.Battery {
			content[s.Device] = min(b.FullWh, have+b.ChargeW*e.slotS(s.Cell)/3600)
			continue
		}
		reserve := b.Reserve * b.FullWh
		want := reserve + e.energyWh(s.Cell)
		if i == 0 || !p.sameLevel(i-1, i) || have < want {
			want = reserve
			for j := i; j < len(p.Slots) && p.sameLevel(i, j); j++ {
				want += e.energyWh(p.Slots[j].Cell)
			}
		}
		want = min(want, b.FullWh)
		if have < want {
			s.WaitS = (want - have) / b.ChargeW * 3600
			have = want
		}
		charge := want / b.FullWh
		s.NeedsCharge = &charge
		content[s.Device] = max(have-e.energyWh(s.Cell), 0)
	}
}

// stretch is the range of neighbouring slots around slot i that have its pass and its
// level, from included, to not. A pass may have several stretches of one level.
func (p *Plan) stretch(i int) (from, to int) {
	for from = i; from > 0 && p.sameLevel(from-1, i); {
		from--
	}
	for to = i + 1; to < len(p.Slots) && p.sameLevel(i, to); {
		to++
	}
	return from, to
}

// sameLevel tells whether slots i and j are of the same pass and the same level.
func (p *Plan) sameLevel(i, j int) bool {
	a, b := p.Slots[i], p.Slots[j]
	return a.Pass == b.Pass && levelKey(a.Cell, p.Hard) == levelKey(b.Cell, p.Hard)
}
