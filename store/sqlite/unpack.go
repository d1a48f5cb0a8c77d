package sqlite

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
	"time"

	"sweepd/run"
)

// unpacker reads the rows of one series in order. Its buffers are reused.
type unpacker struct {
	chain
	width int // columns of the last row
	rest  []byte
	bad   bool // the row ended too early or holds nonsense

	times  []run.Instant
	labels []int
	values []float64 // sweep after sweep
}

// unpack reads a row; its sweeps are then in times, labels and values. A row
// that does not start anew must follow the row unpacked before it.
func (u *unpacker) unpack(data []byte) error {
	u.rest, u.bad = data, false
	flags := u.byte()
	if flags&rowKey != 0 {
		u.restart()
	}
	n := int(min(u.uvarint(), uint64(len(data))+1))
	if flags&rowColumns != 0 {
		u.width = int(min(u.uvarint(), uint64(len(u.columns))+1))
	}
	// Every sweep and every four columns take a byte at least.
	if u.bad || n == 0 || n > len(data) || u.width > len(u.columns) || n*u.width > maxRowValues || !u.started && flags&rowKey == 0 {
		return fmt.Errorf("damaged row of %d bytes: %d sweeps, %d columns of %d", len(data), n, u.width, len(u.columns))
	}
	u.unpackTimes(n, flags&rowOffsets != 0)
	u.labels = grown(u.labels, n)
	for i := range u.labels {
		if flags&rowLabels != 0 {
			u.label = int(min(u.uvarint(), math.MaxInt32))
		}
		u.labels[i] = u.label
	}
	u.unpackColumns(n)
	if u.bad || len(u.rest) > 0 {
		return fmt.Errorf("damaged row of %d bytes: %d sweeps do not fill it", len(data), n)
	}
	return nil
}

func (u *unpacker) unpackTimes(n int, offsets bool) {
	u.times = grown(u.times, n)
	for i := range u.times {
		interval := u.interval + u.varint()
		u.mono += interval
		if u.started {
			u.interval = interval
		}
		u.started = true
		u.times[i].Mono = time.Duration(u.mono) * time.Microsecond
	}
	for i := range u.times {
		if offsets {
			u.boot += u.varint()
			u.wall += u.varint()
		}
		boot := u.times[i].Mono.Microseconds() + u.boot
		u.times[i].Boot = time.Duration(boot) * time.Microsecond
		u.times[i].Wall = time.UnixMicro(boot + u.wall).UTC()
	}
}

func (u *unpacker) unpackColumns(n int) {
	modes := u.take((u.width + 3) / 4)
	u.values = grown(u.values, n*u.width)
	if u.bad {
		return
	}
	for i := range u.width {
		c := &u.columns[i]
		switch modes[i/4] >> (i % 4 * 2) & 3 {
		case modeSame:
			v := c.value()
			for j := range n {
				u.values[j*u.width+i] = v
			}
		case modeSparse:
			u.unpackSparse(c, n, i)
		case modeDense:
			for j := range n {
				c.step(c.expected() + u.varint())
				u.values[j*u.width+i] = c.value()
			}
		case modeSpecial:
			u.unpackSpecial(c, n, i)
		}
	}
}

func (u *unpacker) unpackSparse(c *column, n, i int) {
	mask := u.take((n + 7) / 8)
	for j := range n {
		if !u.bad && mask[j/8]>>(j%8)&1 != 0 {
			c.step(c.last + u.varint())
		}
		u.values[j*u.width+i] = c.value()
	}
}

func (u *unpacker) unpackSpecial(c *column, n, i int) {
	raw := u.byte()&1 != 0
	c.raw = raw
	mask := u.take((n + 7) / 8)
	for j := range n {
		c.missing = u.bad || mask[j/8]>>(j%8)&1 == 0
		switch {
		case c.missing:
		case raw:
			c.bits ^= bits.ReverseBytes64(u.uvarint())
		default:
			c.step(c.last + u.varint())
		}
		u.values[j*u.width+i] = c.value()
	}
	c.settle(raw)
}

// value is the newest, NaN where missing.
func (c *column) value() float64 {
	switch {
	case c.missing:
		return math.NaN()
	case c.raw:
		return math.Float64frombits(c.bits)
	}
	return c.scale.value(c.last)
}

func (u *unpacker) byte() byte {
	b := u.take(1)
	if u.bad {
		return 0
	}
	return b[0]
}

func (u *unpacker) take(n int) []byte {
	if n > len(u.rest) {
		u.bad, u.rest = true, nil
		return nil
	}
	b := u.rest[:n]
	u.rest = u.rest[n:]
	return b
}

func (u *unpacker) uvarint() uint64 {
	v, n := binary.Uvarint(u.rest)
	u.skip(n)
	return v
}

func (u *unpacker) varint() int64 {
	v, n := binary.Varint(u.rest)
	u.skip(n)
	return v
}

func (u *unpacker) skip(n int) {
	if n <= 0 {
		u.bad, u.rest = true, nil
		return
	}
	u.rest = u.rest[n:]
}

// fillMissing makes all values missing.
func fillMissing(values []float64) {
	for i := range values {
		values[i] = math.NaN()
	}
}
