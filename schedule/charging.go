package schedule

import (
	"math"
	"slices"

	"sweepd/run"
)

// orderForCharging lets batteries recharge while runs on mains go on, as far as the order of
// benches and of the first supply on each allows. What it does depends on estimates
// alone, and the cells of each level stay in their random order.
func (e Estimates) orderForCharging(stretches [][]run.Cell, hard []string) [][]run.Cell {
	var out [][]run.Cell
	for i := 0; i < len(stretches); i++ {
		first := stretches[i]
		if i+1 < len(stretches) && setupKey(stretches[i+1][0], hard) == setupKey(first[0], hard) {
			i++
			out = append(out, e.orderSupplies(first, stretches[i])...)
		} else {
			out = append(out, first)
		}
	}
	return out
}

// orderSupplies orders the two supplies of a bench. A bench ends on the supply that the
// next one, or the same one in the next pass, begins on. Where one charge does not last
// for two stretches on battery in a row, that would be a wait; half of the first supply
// then comes last instead, and runs on mains lie between any two stretches on battery. A
// battery that does not even last for one takes turns with mains several times.
//
// The randomisation stays: a pass holds every cell once, the cells of each supply are in
// random order, and either supply comes first in turn, from bench to bench and from pass
// to pass. Which is where in between is as systematic as before, and the better balanced:
// both lie about the middle of the bench, so that an even drift over it favours neither.
func (e Estimates) orderSupplies(first, second []run.Cell) [][]run.Cell {
	turns := e.alternations(first, second)
	if turns == 0 {
		return [][]run.Cell{first, second}
	}
	outer, inner := e.splitByLoad(first, turns, 0.5), e.splitByLoad(second, turns, 0)
	var out [][]run.Cell
	for i := range outer {
		out = append(out, outer[i])
		if i < len(inner) {
			out = append(out, inner[i])
		}
	}
	return slices.DeleteFunc(out, func(part []run.Cell) bool { return len(part) == 0 })
}

// alternations is how often the supplies of a bench take turns: the least that leaves no part
// on battery that one charge does not last for, but for single runs; 0 where one
// charge lasts for two whole stretches, or where that is not known.
func (e Estimates) alternations(first, second []run.Cell) int {
	battery, shift := first, 0.5
	if !onBattery(first) {
		battery, shift = second, 0
	}
	b, known := e.battery(battery[0].Device)
	usable := b.FullWh * (1 - b.Reserve)
	if !known || 2*e.batteryLoad(battery) <= usable {
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

// splitByLoad cuts cells of one supply, in their order, into n parts of equal weight; with
// a shift of 0.5 into n + 1, of which the first and the last have half of it.
func (e Estimates) splitByLoad(cells []run.Cell, n int, shift float64) [][]run.Cell {
	parts := make([][]run.Cell, int(math.Ceil(float64(n)+shift)))
	total, before := e.batteryLoad(cells), 0.0
	for _, c := range cells {
		w := e.batteryLoad([]run.Cell{c})
		middle := (before + w/2) / total
		i := int(math.Ceil(middle*float64(n)+shift)) - 1
		parts[i] = append(parts[i], c)
		before += w
	}
	return parts
}

// batteryLoad is what cells of one supply do to the battery: the energy that they take from
// it, Wh, or the time that they let it charge, s.
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

// planCharging follows each battery through the plan, full at the start, and writes
// down what charge each run on battery needs and how long charging for it takes.
// Whoever has to charge does so for the whole stretch that is left.
func (p *Plan) planCharging(e Estimates) {
	content := map[string]float64{} // Wh
	for i := range p.Slots {
		s := &p.Slots[i]
		s.NeedsCharge, s.WaitS = nil, 0
		b, known := e.battery(s.Device)
		if !known {
			continue
		}
		have, started := content[s.Device]
		if !started {
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

// stretch is the range of slots around slot i that follow each other and have its pass
// and its level. A level may come back in a pass, in a stretch of its own.
func (p *Plan) stretch(i int) (from, to int) {
	for from = i; from > 0 && p.sameLevel(from-1, i); {
		from--
	}
	for to = i + 1; to < len(p.Slots) && p.sameLevel(i, to); {
		to++
	}
	return from, to
}

// sameLevel tells whether slots i and j have one pass and one level.
func (p *Plan) sameLevel(i, j int) bool {
	a, b := p.Slots[i], p.Slots[j]
	return a.Pass == b.Pass && levelKey(a.Cell, p.Hard) == levelKey(b.Cell, p.Hard)
}
