package schedule

import (
	"math/rand/v2"
	"slices"
	"strings"

	"sweepd/run"
)

// factor is something that is hard to change, with the levels that the cells have.
type factor struct {
	levelOf func(run.Cell) string
	levels  []string
}

// factors are what is hard to change, hardest first: the device, the named keys
// of the variant, the supply.
func factors(cells []run.Cell, hard []string) []factor {
	list := []factor{{levelOf: func(c run.Cell) string { return c.Device }}}
	for _, key := range hard {
		list = append(list, factor{levelOf: func(c run.Cell) string { v, _ := c.Variant.Get(key); return v }})
	}
	list = append(list, factor{levelOf: func(c run.Cell) string { return string(c.Supply) }})
	for i := range list {
		for _, c := range cells {
			if v := list[i].levelOf(c); !slices.Contains(list[i].levels, v) {
				list[i].levels = append(list[i].levels, v)
			}
		}
		slices.Sort(list[i].levels)
	}
	return list
}

// levelKey names the combination of levels that a cell has.
func levelKey(c run.Cell, hard []string) string {
	return setupKey(c, hard) + "\x00" + string(c.Supply)
}

// setupKey names the setup of a cell: its level without the supply, which is what stays
// the same while a battery drains and charges.
func setupKey(c run.Cell, hard []string) string {
	parts := []string{c.Device}
	for _, key := range hard {
		value, _ := c.Variant.Get(key)
		parts = append(parts, value)
	}
	return strings.Join(parts, "\x00")
}

// nextLevels is the order of levels in the pass after the last one: random in the first
// pass, later the reverse of the pass before. The order of supplies is reversed from setup
// to setup, so that one setup ends on the supply that the next one begins on.
func (p *Plan) nextLevels(cells []run.Cell) []string {
	all := slices.Concat(p.Cells(), cells)
	exists := map[string]bool{}
	for _, c := range all {
		exists[setupKey(c, p.Hard)] = true
	}
	list := shuffled(factors(all, p.Hard), p.Seed)
	supplies := slices.Clone(list[len(list)-1].levels)
	var order []string
	for _, setup := range serpentine(list[:len(list)-1]) {
		if !exists[setup] {
			continue
		}
		for _, supply := range supplies {
			order = append(order, setup+"\x00"+supply)
		}
		slices.Reverse(supplies)
	}
	if p.passes()%2 == 1 {
		slices.Reverse(order)
	}
	return order
}

func shuffled(list []factor, seed uint64) []factor {
	random := rand.New(rand.NewPCG(seed, 0))
	for _, f := range list {
		random.Shuffle(len(f.levels), func(i, j int) { f.levels[i], f.levels[j] = f.levels[j], f.levels[i] })
	}
	return list
}

// serpentine lists all combinations of levels so that from one to the next only one
// factor changes, the hardest to change most seldom: each time an outer factor changes,
// the order of the inner ones is reversed.
func serpentine(list []factor) []string {
	if len(list) == 1 {
		return slices.Clone(list[0].levels)
	}
	inner := serpentine(list[1:])
	var out []string
	for _, level := range list[0].levels {
		for _, rest := range inner {
			out = append(out, level+"\x00"+rest)
		}
		slices.Reverse(inner)
	}
	return out
}

func onBattery(stretch []run.Cell) bool { return len(stretch) > 0 && stretch[0].Supply == run.Battery }
