package run

import "strings"

// formulaStarts are the characters by which spreadsheets take a cell for a formula,
// with their full-width forms (OWASP, CSV Injection).
const formulaStarts = "=+-@\t\r＝＋－＠"

// CSVText is a text as a cell of a table that a spreadsheet may open: one that it
// would take for a formula gets an apostrophe before it. FromCSVText takes that off.
func CSVText(text string) string {
	if startsFormula(strings.TrimLeft(text, "'")) {
		return "'" + text
	}
	return text
}

// FromCSVText is the text of which CSVText made a cell. What is no such cell stays.
func FromCSVText(cell string) string {
	if rest, found := strings.CutPrefix(cell, "'"); found && startsFormula(strings.TrimLeft(rest, "'")) {
		return rest
	}
	return cell
}

func startsFormula(text string) bool {
	return strings.IndexAny(text, formulaStarts) == 0
}
