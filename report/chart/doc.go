// Package chart draws the charts of the report in one house style: as SVG for the
// page, as SVG files and as PNG for videos, in a light and a dark palette.
//
// A Chart is a description in plain numbers: panels with axes, series of points
// with intervals, a strip of verdicts, guides, spans and marks. Nothing is said by
// colour alone: every series has its marker and its dashes as well, every verdict
// its symbol, and names stand beside what they name.
package chart
