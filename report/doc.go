// Package report makes what gets published: one HTML page that needs nothing but
// itself, and every chart as SVG and PNG.
//
// The words: a Study is what the analysis answers about a set of runs; an Input is
// a study with the facts around it (every run with its findings, the devices, the
// course of single runs); a Page is the same laid out in sections of figures,
// sentences and tables. Nothing here reads a store or a sensor: whoever wants a
// report hands over plain series and results.
//
//	study, err := report.Ask(runs, report.Questions{})
//	page := report.Compose(report.Input{Study: study, Runs: rows, Devices: devices})
//	written, err := report.Write(ctx, "out", page, report.Options{})
package report
