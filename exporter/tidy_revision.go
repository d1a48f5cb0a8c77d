package exporter

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"

	"sweepd/run"
)

// Revision names what a row of the tidy table says of a run: the same row has the same
// revision in every file, and one that was corrected has another. It begins with a letter,
// so that no spreadsheet takes it for a number.
func Revision(r run.Run) string {
	names := tidyResults([]run.Run{r})
	row := tidyRow(r, names, func(text string) string { return text })
	var text []byte
	for _, cell := range append(names, row[:len(row)-1-len(names)]...) { // but for the revision itself
		text = appendPart(text, strings.TrimSpace(cell), ';')
	}
	for _, cell := range row[len(row)-len(names):] {
		text = appendPart(text, cell, ';')
	}
	sum := sha256.Sum256(text)
	return "r" + hex.EncodeToString(sum[:5])
}
