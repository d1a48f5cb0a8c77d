package exporter

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"sweepd/run"
)

// rowNamespace is the name space of ids that are derived from rows (RFC 9562, 5.5).
var rowNamespace = uuid.MustParse("6f6c3a52-4f0b-5c8e-9a27-7d1f5f0e8b11")

// formerVersion is that of the UUIDs which earlier versions derived from a row's text,
// idVersion that of those derived from what it says (RFC 9562, 5.5 and 5.8).
const (
	formerVersion = 5
	idVersion     = 8
)

// derive gives a run the id that its row has: name-based, so that rows which say the
// same give the same id whatever the order of their columns and the way their numbers
// are written. A result's unit and direction do not count. The former ids are of the
// text as it stands, and as it could be read before.
func (t *tidyReader) derive(d *run.Record, record []string) {
	d.ID = t.ids.next(t.valueName(d))
	asWritten := t.written.next(t.textName(record, func(c tidyColumn, text string) (string, string) { return c.heading, text }))
	asPlain := t.plain.next(t.textName(record, plainCell))
	d.Former = slices.Compact([]string{asWritten, asPlain})
}

// valueName is what a row says.
func (t *tidyReader) valueName(d *run.Record) []byte {
	t.name = t.name[:0]
	say := func(what, text string) {
		if text != "" {
			t.name = appendPart(appendPart(t.name, what, '='), text, ';')
		}
	}
	say(colDevice, d.Device)
	say(colWorkload, d.Workload)
	say(colVariant, string(d.Variant))
	say(colSupply, string(d.Supply))
	say(colSetting, d.Setting.String())
	if !d.StartedAt.IsZero() {
		say(colStarted, d.StartedAt.String())
	}
	say(colDuration, number(d.DurationS))
	say(colPackage, number(d.PackageW))
	say(colSystem, number(d.SystemW))
	say(colState, string(d.State))
	say(colWhy, d.Why)
	say(colNote, d.Note)
	for _, name := range slices.Sorted(maps.Keys(d.Results)) {
		v := d.Results[name].Value
		say("result "+name, number(&v))
	}
	return t.name
}

// textName is the text of a row, of each cell as it was before.
func (t *tidyReader) textName(record []string, before func(c tidyColumn, text string) (heading, cell string)) []byte {
	t.name = t.name[:0]
	for i, c := range t.columns {
		if heading, text := before(c, strings.TrimSpace(record[i])); text != "" {
			t.name = appendPart(appendPart(t.name, heading, '='), text, ';')
		}
	}
	return t.name
}

// plainCell is a cell as earlier versions could read it: with a decimal point, and
// without a unit.
func plainCell(c tidyColumn, text string) (heading, cell string) {
	if _, number := measured[c.name]; number || !c.known {
		digits, _ := cutMeasure(text)
		text = strings.Replace(digits, ",", ".", 1)
	}
	return c.name, text
}

func appendPart(name []byte, text string, end byte) []byte {
	name = strconv.AppendInt(name, int64(len(text)), 10)
	return append(append(append(name, ':'), text...), end)
}

// rowIDs make name-based ids of rows, of which several may have the same name.
type rowIDs struct {
	version byte // of the UUID
	rows    map[uuid.UUID]int
}

func newRowIDs(version byte) *rowIDs { return &rowIDs{version, map[uuid.UUID]int{}} }

// next is the id of the next row called name.
func (r *rowIDs) next(name []byte) string {
	id := r.of(name)
	r.rows[id]++
	if n := r.rows[id]; n > 1 {
		id = r.of(strconv.AppendInt(name, int64(n), 10))
	}
	return id.String()
}

func (r *rowIDs) of(name []byte) uuid.UUID {
	id := uuid.NewSHA1(rowNamespace, name)
	id[6] = id[6]&0x0f | r.version<<4
	return id
}
