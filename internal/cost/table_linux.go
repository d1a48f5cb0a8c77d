package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// table is what a part found. The last columns of rows may be aims.
type table struct {
	title   string
	columns []string
	rows    [][]string
	notes   []string
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

func (t *table) note(format string, args ...any) {
	t.notes = append(t.notes, fmt.Sprintf(format, args...))
}

func writeText(w io.Writer, heading string, tables []table) {
	fmt.Fprintln(w, heading)
	for _, t := range tables {
		fmt.Fprintf(w, "\n%s\n", t.title)
		tw := tabwriter.NewWriter(w, 0, 0, 3, ' ', 0)
		for _, row := range append([][]string{t.columns}, t.rows...) {
			fmt.Fprintln(tw, "  "+strings.Join(row, "\t"))
		}
		tw.Flush()
		for _, n := range t.notes {
			fmt.Fprintln(w, "  "+n)
		}
	}
}

// markdown is the tables for the README.
func markdown(heading string, tables []table) string {
	var out strings.Builder
	fmt.Fprintf(&out, "Measured %s\n", heading)
	for _, t := range tables {
		fmt.Fprintf(&out, "\n**%s**\n\n| %s |\n|%s\n", t.title, strings.Join(t.columns, " | "), strings.Repeat(" --- |", len(t.columns)))
		for _, row := range t.rows {
			fmt.Fprintf(&out, "| %s |\n", strings.Join(row, " | "))
		}
		for _, n := range t.notes {
			fmt.Fprintf(&out, "\n%s\n", n)
		}
	}
	return out.String()
}
