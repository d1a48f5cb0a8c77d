package schedule

import (
	"sweepd/agent"
)

// fitCharge divides stretches on battery that one charge does not last for. The
// runs on mains of the same bench, if there are any, are divided likewise and come
// between them, while the battery recharges: battery and mains take turns as often
// as the charge demands and no more.
func (e Estimates) fitCharge(stretches [][]Cell, hard []string) [][]Cell {
	var out [][]Cell
	for i := 0; i < len(stretches); i++ {
		first := stretches[i]
		var second []Cell
		if i+1 < len(stretches) && benchKey(stretches[i+1][0], hard) == benchKey(first[0], hard) {
			i++
			second = stretches[i]
		}
		out = append(out, e.divide(first, second)...)
	}
	return out
}

// divide splits a stretch on battery by charges, and spreads that on mains
// between, in the given order of the two. Either may be missing.
func (e Estimates) divide(first, second []Cell) [][]Cell {
	battery, mains, batteryFirst := first, second, true
	if !onBattery(first) {
		battery, mains, batteryFirst = second, first, false
	}
	parts := e.byCharge(battery)
	n := max(len(parts), 1)
	var out [][]Cell
	add := func(stretch []Cell) {
		if len(stretch) > 0 {
			out = append(out, stretch)
		}
	}
	for i := range n {
		share := mains[len(mains)*i/n : len(mains)*(i+1)/n]
		if !batteryFirst {
			add(share)
		}
		if i < len(parts) {
			add(parts[i])
		}
		if batteryFirst {
			add(share)
		}
	}
	return out
}

// byCharge divides cells on battery into stretches that a full charge lasts for, in
// their order. A single run that needs more is a stretch of its own.
func (e Estimates) byCharge(cells []Cell) [][]Cell {
	if len(cells) == 0 {
		return nil
	}
	b, known := e.battery(cells[0].Device)
	if !known {
		return [][]Cell{cells}
	}
	usable := b.FullWh * (1 - b.Reserve)
	var parts [][]Cell
	from, used := 0, 0.0
	for i, c := range cells {
		need := e.energyWh(c)
		if i > from && used+need > usable {
			parts = append(parts, cells[from:i])
			from, used = i, 0
		}
		used += need
	}
	return append(parts, cells[from:])
}

// foresee follows each battery through the plan, full at the start, and writes
// down what charge each run on battery needs and how long charging for it takes.
// Whoever has to charge does so for the whole stretch that is left.
func (p *Plan) foresee(e Estimates) {
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
		if s.Supply != agent.Battery {
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
