package sqlite

import (
	"encoding/binary"
	"math"
	"math/bits"

	"sweepd/run"
)

// packFormat is the layout of `readings.data` described here. Format 1, of an older
// version, lacks the checksum.
//
//	data    = row, checksum (CRC-32C, see row.sum; 4 bytes, the highest first)
//	row     = flags, sweeps, [columns], times, [offsets], [labels], modes, column...
//	flags   = one byte of the row... constants below
//	sweeps  = uvarint, number of sweeps n
//	columns = uvarint, number of sensors, where it changed
//	times   = n varints: monotonic microseconds, as the change of the interval
//	offsets = n pairs of varints: change of boot-mono and of wall-boot, us
//	labels  = n uvarints: position in series_labels, where not all as before
//	modes   = two bits a column, see the mode constants
//
// Signed numbers are zigzag varints. Values are integers in steps of the
// sensor's resolution, as differences from the sweep before; a row goes on from
// the row before it, except a key row, which starts from nothing. A counter's
// dense column holds the change of the difference, because its rate is what
// changes little. A value that steps cannot express keeps all 64 bits.
const packFormat = 2

const (
	rowKey     = 1 << 0
	rowColumns = 1 << 1
	rowOffsets = 1 << 2
	rowLabels  = 1 << 3
)

const (
	modeSame    = 0 // as in the last sweep of the row before; nothing stored
	modeSparse  = 1 // mask of the sweeps that changed, their differences
	modeDense   = 2 // n differences (of a counter: changes of difference)
	modeSpecial = 3 // one byte: 1 for raw; mask of the values present; these
)

// maxRowValues is the most values of a row. Two bits make a column of values, so a short
// row could ask for more than there is memory.
const maxRowValues = 1 << 22

// keyEvery is how many rows a lost or damaged row can spoil.
const keyEvery = 64

// offsetTolerance is how far, in microseconds, the boot and wall clock may
// wander from the monotonic one before it is stored: the three are read one
// after the other, so their distance trembles.
const offsetTolerance = 20

// column is what a row knows of a sensor from the rows before it.
type column struct {
	scale   scale
	counter bool

	last    int64  // steps
	diff    int64  // last difference, steps
	bits    uint64 // of the last raw value
	started bool   // last is from this chain
	missing bool
	raw     bool
}

// chain is the state that packing and unpacking share.
type chain struct {
	columns    []column
	mono       int64 // us
	interval   int64
	boot, wall int64 // offsets, us
	label      int
	started    bool
}

// restart forgets everything but the sensors, as before a key row.
func (c *chain) restart() {
	for i := range c.columns {
		c.columns[i] = column{scale: c.columns[i].scale, counter: c.columns[i].counter}
	}
	*c = chain{columns: c.columns}
}

func (c *chain) grow(sensors []run.Sensor) {
	for _, s := range sensors[len(c.columns):] {
		c.columns = append(c.columns, column{scale: scaleOf(s.Resolution), counter: s.Kind == run.Counter})
	}
}

// scale turns values into whole steps and back.
type scale struct{ step, perUnit float64 }

// scaleOf prefers whole steps per unit, so that 1234567 steps of 1e-6 come back
// as the number nearest to 1.234567. Without a resolution there are no steps.
func scaleOf(resolution float64) scale {
	if !(resolution > 0) || math.IsInf(resolution, 0) {
		return scale{}
	}
	per := math.Round(1 / resolution)
	if per >= 1 && math.Abs(per*resolution-1) < 1e-9 {
		return scale{resolution, per}
	}
	return scale{resolution, 0}
}

// maxSteps keeps the error of the division far below half a step.
const maxSteps = 1 << 50

// steps is false where whole steps cannot express v.
func (s scale) steps(v float64) (int64, bool) {
	if s.perUnit > 0 {
		v *= s.perUnit
	} else {
		v /= s.step // 0: infinite or NaN, so refused below
	}
	if !(math.Abs(v) <= maxSteps) {
		return 0, false
	}
	return int64(math.Round(v)), true
}

func (s scale) value(steps int64) float64 {
	if s.perUnit > 0 {
		return float64(steps) / s.perUnit
	}
	return float64(steps) * s.step
}

// packer packs batches of one series. Its buffers are reused.
type packer struct {
	chain
	out    []byte
	values []float64
	steps  []int64
}

// pack packs sweeps that are checked to have no more values than columns and
// no infinite one. labels has a position for each sweep. The result holds until
// the next call.
func (p *packer) pack(key bool, sweeps []run.Sweep, labels []int, newColumns bool) []byte {
	if key {
		p.restart()
	}
	n, c := len(sweeps), len(p.columns)
	flags := byte(0)
	if key {
		flags |= rowKey
	}
	if key || newColumns {
		flags |= rowColumns
	}
	if p.offsetsChange(sweeps) {
		flags |= rowOffsets
	}
	if p.labelsChange(labels) {
		flags |= rowLabels
	}
	out := append(p.out[:0], flags)
	out = binary.AppendUvarint(out, uint64(n))
	if flags&rowColumns != 0 {
		out = binary.AppendUvarint(out, uint64(c))
	}
	out = p.packTimes(out, sweeps)
	if flags&rowOffsets != 0 {
		out = p.packOffsets(out, sweeps)
	}
	if flags&rowLabels != 0 {
		for _, l := range labels {
			out = binary.AppendUvarint(out, uint64(l))
		}
		p.label = labels[n-1]
	}
	p.out = p.packColumns(out, sweeps)
	return p.out
}

func microseconds(at run.Instant) (mono, boot, wall int64) {
	mono = at.Mono.Microseconds()
	return mono, at.Boot.Microseconds() - mono, at.Wall.UnixMicro() - at.Boot.Microseconds()
}

func (p *packer) packTimes(out []byte, sweeps []run.Sweep) []byte {
	for i := range sweeps {
		mono := sweeps[i].At.Mono.Microseconds()
		interval := mono - p.mono
		out = binary.AppendVarint(out, interval-p.interval)
		p.mono = mono
		if p.started {
			p.interval = interval
		}
		p.started = true
	}
	return out
}

func near(a, b int64) bool { return a-b <= offsetTolerance && b-a <= offsetTolerance }

func (p *packer) offsetsChange(sweeps []run.Sweep) bool {
	for i := range sweeps {
		_, boot, wall := microseconds(sweeps[i].At)
		if !p.started || !near(boot, p.boot) || !near(wall, p.wall) {
			return true
		}
	}
	return false
}

func (p *packer) packOffsets(out []byte, sweeps []run.Sweep) []byte {
	for i := range sweeps {
		_, boot, wall := microseconds(sweeps[i].At)
		if near(boot, p.boot) && near(wall, p.wall) {
			boot, wall = p.boot, p.wall
		}
		out = binary.AppendVarint(out, boot-p.boot)
		out = binary.AppendVarint(out, wall-p.wall)
		p.boot, p.wall = boot, wall
	}
	return out
}

func (p *packer) labelsChange(labels []int) bool {
	for _, l := range labels {
		if l != p.label {
			return true
		}
	}
	return false
}

func (p *packer) packColumns(out []byte, sweeps []run.Sweep) []byte {
	modes := len(out)
	for range (len(p.columns) + 3) / 4 {
		out = append(out, 0)
	}
	p.values = grown(p.values, len(sweeps))
	p.steps = grown(p.steps, len(sweeps))
	for i := range p.columns {
		for j := range sweeps {
			p.values[j] = valueAt(sweeps[j].Values, i)
		}
		var mode byte
		mode, out = p.columns[i].pack(out, p.values, p.steps)
		out[modes+i/4] |= mode << (i % 4 * 2)
	}
	return out
}

func valueAt(values []float64, i int) float64 {
	if i < len(values) {
		return values[i]
	}
	return math.NaN()
}

func grown[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// pack appends one sensor's values, with steps as room to work in.
func (c *column) pack(out []byte, values []float64, steps []int64) (byte, []byte) {
	whole, same := true, true
	for j, v := range values {
		if math.IsNaN(v) {
			whole = false
			same = same && c.missing
			continue
		}
		q, ok := c.scale.steps(v)
		steps[j] = q
		whole = whole && ok
		switch {
		case c.missing:
			same = false
		case c.raw:
			same = same && math.Float64bits(v) == c.bits
		default:
			same = same && ok && q == c.last
		}
	}
	switch {
	case same:
		return modeSame, out
	case !whole || c.missing || c.raw:
		return modeSpecial, c.packSpecial(out, values, steps)
	}
	return c.packSteps(out, steps)
}

func (c *column) packSteps(out []byte, steps []int64) (byte, []byte) {
	dense, sparse := 0, (len(steps)+7)/8
	trial := *c
	for _, q := range steps {
		if q != trial.last {
			sparse += varintSize(q - trial.last)
		}
		dense += varintSize(trial.surprise(q))
	}
	if sparse >= dense {
		for _, q := range steps {
			out = binary.AppendVarint(out, c.surprise(q))
		}
		return modeDense, out
	}
	mask := len(out)
	for range (len(steps) + 7) / 8 {
		out = append(out, 0)
	}
	for j, q := range steps {
		if q != c.last {
			out[mask+j/8] |= 1 << (j % 8)
			out = binary.AppendVarint(out, q-c.last)
			c.step(q)
		}
	}
	return modeSparse, out
}

// step takes q as the newest value.
func (c *column) step(q int64) {
	if c.started {
		c.diff = q - c.last
	}
	c.last, c.started = q, true
}

// surprise is q less what a dense column expects; q becomes the newest value.
func (c *column) surprise(q int64) int64 {
	expected := c.expected()
	c.step(q)
	return q - expected
}

func (c *column) expected() int64 {
	if c.counter {
		return c.last + c.diff
	}
	return c.last
}

func (c *column) packSpecial(out []byte, values []float64, steps []int64) []byte {
	raw := false
	for _, v := range values {
		if _, ok := c.scale.steps(v); !ok && !math.IsNaN(v) {
			raw = true
		}
	}
	kind := byte(0)
	if raw {
		kind = 1
	}
	out = append(out, kind)
	mask := len(out)
	for range (len(values) + 7) / 8 {
		out = append(out, 0)
	}
	for j, v := range values {
		if c.missing = math.IsNaN(v); c.missing {
			continue
		}
		out[mask+j/8] |= 1 << (j % 8)
		if raw {
			b := math.Float64bits(v)
			out = binary.AppendUvarint(out, bits.ReverseBytes64(b^c.bits))
			c.bits = b
		} else {
			out = binary.AppendVarint(out, steps[j]-c.last)
			c.step(steps[j])
		}
	}
	c.settle(raw)
	return out
}

// settle notes what kind the row's last values were.
func (c *column) settle(raw bool) {
	c.raw = raw
	c.diff = 0
	if !raw {
		c.bits = 0
	}
}

// varintSize is the length of binary.AppendVarint's output.
func varintSize(v int64) int {
	zigzag := uint64(v)<<1 ^ uint64(v>>63)
	return (bits.Len64(zigzag|1) + 6) / 7
}
