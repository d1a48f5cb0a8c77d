package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/frames"
	"sweepd/report"
)

// frameSets are files of frame times whose distributions a report draws.
type frameSets struct {
	named  []string // NAME=FILE
	reader framesFlags
}

func (f *frameSets) add(cmd *cobra.Command) {
	f.reader.delimiter.words = []string{"comma", "semicolon", "tab", "none"}
	cmd.Flags().StringArrayVar(&f.named, "frames", nil, "`NAME=FILE`: draw the distribution of the frame times in FILE under this name (repeatable)")
	cmd.Flags().StringVar(&f.reader.column, "frame-column", "", "`NAME` or number of the column with the frame times; unless the files have only one")
	cmd.Flags().StringVar(&f.reader.unit, "frame-unit", "", "`ms|us|s`; unless the column's name ends in it")
	cmd.Flags().BoolVar(&f.reader.timestamps, "frame-timestamps", false, "the column holds the times at which frames came")
	cmd.Flags().Var(&f.reader.delimiter, "frame-delimiter", "what separates columns, where it is not plain")
}

// read reads the frame times of all files.
func (f *frameSets) read(ctx context.Context) ([]report.Frames, error) {
	var sets []report.Frames
	for _, pair := range f.named {
		name, file, found := strings.Cut(pair, "=")
		if !found || name == "" || file == "" {
			return nil, misused(fmt.Errorf("--frames %s: want NAME=FILE, such as 'unit-oak at 25 W=frames.csv'", pair))
		}
		one := f.reader
		one.file = file
		times, err := readFrames(ctx, one)
		if err != nil {
			return nil, err
		}
		sets = append(sets, report.Frames{Name: name, Times: times})
	}
	return sets, nil
}

// readFrames reads the frame times of a file.
func readFrames(ctx context.Context, f framesFlags) (times *frames.Times, err error) {
	file, err := f.open(ctx, strings.NewReader(""))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return file.Times(0, nil)
}
