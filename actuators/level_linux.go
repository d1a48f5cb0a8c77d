package actuators

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"sweepd/run"
)

// level is a place that takes a number within limits: a power limit, W.
type level struct {
	actuator string
	path     string
	scale    float64 // of the place's numbers, W: 1, or 1e-6 where they are microwatts
	// least, most and step are what the machine states, W. Unknown: nil.
	least, most, step *float64
	leeway            float64 // W
	now               float64 // W
	text              string  // as read
}

// read reads what the place has now.
func (l *level) read() error {
	s, err := text(l.path)
	if err != nil {
		return err
	}
	v, err := run.ParseNumber(s)
	if err != nil {
		return fmt.Errorf("%s has %q, where a number is wanted", l.path, run.Shorten(s))
	}
	l.now, l.text = v*l.scale, s
	return nil
}

// watts is a number of the place's neighbour, W; nil where there is none.
func watts(path string, scale float64) *float64 {
	v, err := run.ParseNumber(textOr(path))
	if err != nil {
		return nil
	}
	v *= scale
	return &v
}

// onGrid is the greatest value that the place takes up to v.
func (l *level) onGrid(v float64) float64 {
	step := l.stepOr()
	base := 0.0
	if l.least != nil {
		base = *l.least
	}
	// A number of watts is rarely a sum of steps to the last bit.
	return base + math.Floor((v-base)/step+1e-6)*step
}

func (l *level) format(v float64) string {
	return strconv.FormatFloat(math.Round(v/l.scale), 'f', -1, 64)
}

// takes tells why the place does not take a value, W.
func (l *level) takes(v float64) error {
	switch {
	case l.least != nil && v < *l.least, l.most != nil && v > *l.most:
		return fmt.Errorf("%s takes %s, not %sW", l.path, l.rangeText(), plain(v))
	case math.Abs(l.onGrid(v)-v) > 1e-6:
		return fmt.Errorf("%s takes %s in steps of %sW, not %sW", l.path, l.rangeText(), plain(l.stepOr()), plain(v))
	}
	return nil
}

// confirm tells why one of some levels does not take a write now: what firmware states may
// change with the supply.
func confirm(levels []*level, w Write) error {
	i := slices.IndexFunc(levels, func(l *level) bool { return l.path == w.Path })
	if i < 0 {
		return fmt.Errorf("%s is no limit any more that can be set", w.Path)
	}
	v, err := run.ParseNumber(w.Text)
	if err != nil {
		return fmt.Errorf("%s takes a number, not %q", w.Path, run.Shorten(w.Text))
	}
	return levels[i].takes(v * levels[i].scale)
}

// stepOr is the step between values that the place takes: what it states, else one of its
// unit.
func (l *level) stepOr() float64 {
	if l.step != nil && *l.step > 0 {
		return *l.step
	}
	return l.scale
}

func (l *level) rangeText() string {
	switch {
	case l.least != nil && l.most != nil:
		return plain(*l.least) + " to " + plain(*l.most) + "W"
	case l.most != nil:
		return "up to " + plain(*l.most) + "W"
	case l.least != nil:
		return "from " + plain(*l.least) + "W"
	}
	return "watts"
}

// writes are what brings the place from where it is to v: several where a step upward is
// larger than the user allows.
func (l *level) writes(v float64, within Limits) ([]Write, error) {
	values, err := stepsUp(l.now, v, within, l.onGrid)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", l.path, err)
	}
	var list []Write
	was := l.text
	for _, v := range values {
		if to := l.format(v); !SameText(was, to, 0) {
			list = append(list, Write{Actuator: l.actuator, Path: l.path, Text: to, Was: was, Leeway: l.leeway / l.scale, Up: within.up() / l.scale})
			was = to
		}
	}
	return list, nil
}

// checkWatts tells why the user's limits do not allow a setting, and gives its watts.
func checkWatts(v Value, within Limits) (float64, error) {
	w, ok := v.Setting.Watts()
	switch {
	case !ok:
		return 0, fmt.Errorf("%s is not a number of watts", v)
	case within.Min != nil && w < *within.Min:
		return 0, fmt.Errorf("%s is below the least that the configuration allows, %sW", v, plain(*within.Min))
	case within.Max != nil && w > *within.Max:
		return 0, fmt.Errorf("%s is above the most that the configuration allows, %sW", v, plain(*within.Max))
	}
	return w, nil
}

// setLevels are the writes that bring the first of some levels to w watts, and the others,
// of which none may lie below the one before, to w or the least that they take.
func setLevels(levels []*level, w float64, within Limits) ([]Write, error) {
	if err := levels[0].takes(w); err != nil {
		return nil, err
	}
	var lowered, raised []Write
	floor := w
	targets := make([]float64, len(levels))
	for i, l := range levels {
		to := floor
		if l.least != nil && to < *l.least {
			to = *l.least
		}
		if g := l.onGrid(to); g < to-1e-6 {
			to = g + l.stepOr()
		}
		switch {
		case l.most != nil && to > *l.most:
			return nil, fmt.Errorf("%sW does not go: %s takes %s, and must not lie below the limits before it", plain(w), l.path, l.rangeText())
		case within.Max != nil && to > *within.Max:
			return nil, fmt.Errorf("%sW does not go: %s takes %s, and the configuration allows at most %sW", plain(w), l.path, l.rangeText(), plain(*within.Max))
		}
		floor, targets[i] = to, to
	}
	var sustained []Write
	for i, l := range levels {
		list, err := l.writes(targets[i], within)
		switch {
		case err != nil:
			return nil, err
		case i == 0:
			sustained = list
		case targets[i] > l.now:
			raised = append(list, raised...)
		default:
			lowered = append(lowered, list...)
		}
	}
	if len(sustained) == 0 {
		return append(lowered, raised...), nil
	}
	// Firmware may move the others along with the first one: they are set behind it, in
	// order, again where they have been.
	writes := append(lowered, append(raised, sustained...)...)
	if targets[0] < levels[0].now {
		writes = sustained
	}
	for i, l := range levels[1:] {
		to := l.format(targets[i+1])
		j := slices.IndexFunc(lowered, func(w Write) bool { return w.Path == l.path })
		if targets[0] < levels[0].now && j >= 0 {
			writes = append(writes, lowered[j])
			continue
		}
		writes = append(writes, Write{Actuator: l.actuator, Path: l.path, Text: to, Was: to, Leeway: l.leeway / l.scale, Up: within.up() / l.scale, Again: true})
	}
	return writes, nil
}

// offerLevels are levels that are set together, as an offer; nothing is known of what
// could not be read.
func offerLevels(o *Offer, levels []*level) {
	o.Unit = "W"
	for _, l := range levels {
		o.Sources = append(o.Sources, l.path)
	}
	if len(levels) == 0 {
		return
	}
	first := levels[0]
	o.Min, o.Increment = first.least, first.step
	for _, l := range levels {
		if l.most != nil && (o.Max == nil || *l.most < *o.Max) {
			o.Max = l.most
		}
	}
	for _, l := range levels {
		if err := l.read(); err != nil {
			o.Missing = err.Error()
			return
		}
	}
	o.Now = plain(first.now) + "W"
	var needs string
	if o.Writable, needs = writable(o.Sources...); needs != "" {
		o.Needs = needs
	}
}

// newOffer is an offer of which nothing is known yet.
func newOffer(a Actuator) Offer {
	return Offer{Actuator: a.Name(), Sets: a.Sets(), Sources: []string{}, Choices: []string{}}
}
