package run

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Supply is what feeds the device.
type Supply string

const (
	Mains   Supply = "mains"
	Battery Supply = "battery"
	// SupplyUnknown is that of machines that do not report it.
	SupplyUnknown Supply = ""
)

// Labels say what a sweep or a run is of: the cell, and where its setting is known from.
// They may be compared with ==.
type Labels struct {
	Device   string         `json:"device"`
	Workload string         `json:"workload"`
	Setting  SourcedSetting `json:"setting"`
	Supply   Supply         `json:"supply"`
	Variant  Variant        `json:"variant"`
}

// Cell is one combination of device, workload, setting, supply and variant, as in
// statistics. Runs of one cell are repeats. Cells may be compared with ==.
type Cell struct {
	Device   string  `json:"device"`
	Workload string  `json:"workload"`
	Setting  Setting `json:"setting"`
	Supply   Supply  `json:"supply"`
	Variant  Variant `json:"variant"`
}

// Cell is the cell that the labels name, wherever the setting is known from.
func (l Labels) Cell() Cell {
	return Cell{l.Device, l.Workload, l.Setting.Setting, l.Supply, l.Variant}
}

// String is the cell as a person reads it.
func (c Cell) String() string {
	parts := []string{c.Device, c.Workload}
	if c.Setting.Known() {
		parts = append(parts, c.Setting.String())
	}
	if c.Supply != SupplyUnknown {
		parts = append(parts, "on "+string(c.Supply))
	}
	if c.Variant != "" {
		parts = append(parts, string(c.Variant))
	}
	return strings.Join(parts, ", ")
}

// Check tells why no run can be of this cell.
func (c Cell) Check() error {
	if err := CheckLabel("device", c.Device); err != nil {
		return err
	}
	if err := CheckLabel("workload", c.Workload); err != nil {
		return err
	}
	if !c.Setting.Known() {
		return fmt.Errorf("the setting is empty: give watts (25W) or a name (quiet)")
	}
	if name := c.Setting.Name(); name != "" {
		if err := CheckLabel("setting", name); err != nil {
			return err
		}
	}
	for k, v := range c.Variant.Pairs() {
		if err := checkVariantPair(k, v); err != nil {
			return err
		}
	}
	return CheckSupply(string(c.Supply))
}

// CheckSupply tells why text is no supply.
func CheckSupply(text string) error {
	switch supplies := []string{string(Mains), string(Battery)}; {
	case slices.Contains(supplies, text):
		return nil
	case Near(text, supplies) != "":
		return fmt.Errorf("supply %q is neither mains nor battery: did you mean %s?", Shorten(text), Near(text, supplies))
	}
	return fmt.Errorf("supply %q is neither mains nor battery", Shorten(text))
}

// maxLabel is the most bytes of a label that a user may type: labels end up in
// metrics and file names.
const maxLabel = 200

// CheckLabel tells why text cannot be a label; what is the label's name in the error.
func CheckLabel(what, text string) error {
	switch {
	case strings.TrimSpace(text) == "":
		return fmt.Errorf("%s is empty", what)
	case len(text) > maxLabel:
		return fmt.Errorf("%s has %d bytes: at most %d are allowed", what, len(text), maxLabel)
	case Visible(text) != text || strings.ContainsRune(text, utf8.RuneError):
		return fmt.Errorf("%s %q %s: use one line of plain text", what, text, unshowable)
	case strings.TrimSpace(text) != text:
		return fmt.Errorf("%s %q begins or ends with a blank: leave that out", what, text)
	}
	return nil
}

// maxNote is the most bytes of a note that a user types.
const maxNote = 4000

// CheckNote tells why text cannot be a run's note.
func CheckNote(text string) error {
	if len(text) > maxNote {
		return fmt.Errorf("note has %d bytes: at most %d are allowed", len(text), maxNote)
	}
	return CheckText("note", text)
}

// unshowable ends the sentence about a text that only Visible can show.
const unshowable = "holds control characters or such that turn the direction of text, or is not UTF-8"

// NoteText is a note as it is kept: without blanks around it, its lines ended as
// everywhere, by a line feed.
func NoteText(text string) string { return strings.TrimSpace(lineEnds.Replace(text)) }

var lineEnds = strings.NewReplacer("\r\n", "\n", "\r", "\n")

// Shorten shortens what a user typed to 60 characters, to quote it in an error.
func Shorten(text string) string {
	const most = 60
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most]) + "…"
}
