package main

import (
	"errors"
	"io"

	"github.com/spf13/cobra"

	"sweepd/testday"
)

// addResultsFrom gives runs the results of a table.
func (a *app) addResultsFrom(cmd *cobra.Command, args []string, file string, lower []string, isNew bool) error {
	if len(args) > 0 {
		return misused(errors.New("--from names a table, whose rows name the runs: give no RUN and no NAME=VALUE with it"))
	}
	var in io.Reader = a.in
	if file != "-" {
		opened, err := testday.OpenTable(cmd.Context(), file)
		if err != nil {
			return err
		}
		defer opened.Close()
		in = opened
	}
	x, err := callWith(cmd.Context(), a, testday.AddResults, testday.ResultsRequest{File: file, Lower: lower, New: isNew, Who: typist()}, bytesOf{in: in})
	if err != nil {
		return err
	}
	return a.printCorrected(x, false)
}
