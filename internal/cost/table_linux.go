package main

import (
	"fmt"
	"io"
	"strings"
)

// table is what a part found. The last row or column may say what is wanted.
type table struct {
	title   string
	columns []string
	rows    [][]string
	note    string
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

// writeMarkdown writes the tables below a line that says where they come from.
func writeMarkdown(w io.Writer, heading string, tables []table) error {
	var out strings.Builder
	fmt.Fprintf(&out, "Measured %s\n", heading)
	for _, t := range tables {
		fmt.Fprintf(&out, "\n**%s**\n\n| %s |\n|%s\n", t.title, strings.Join(t.columns, " | "), strings.Repeat(" --- |", len(t.columns)))
		for _, row := range t.rows {
			fmt.Fprintf(&out, "| %s |\n", strings.Join(row, " | "))
		}
		fmt.Fprintf(&out, "\n%s\n", t.note)
	}
	_, err := io.WriteString(w, out.String())
	return err
}
