package main

import (
	"archive/tar"
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/frames"
	"sweepd/internal/userfile"
	"sweepd/testday"
)

// frameSets are files of frame times whose distributions a report draws.
type frameSets struct {
	named  []string // NAME=FILE
	reader framesFlags
}

func (f *frameSets) add(cmd *cobra.Command) {
	f.reader.delimiter.words = []string{"comma", "semicolon", "tab", "none"}
	cmd.Flags().StringArrayVar(&f.named, "frames", nil, "`NAME=FILE`: draw the distribution of the frame times in FILE under this name (repeatable)")
	cmd.Flags().StringVar(&f.reader.column, "frame-column", "", "`COLUMN` with the frame times, by name or number; unless the files have only one")
	cmd.Flags().StringVar(&f.reader.unit, "frame-unit", "", "`ms|us|s|fps`; unless the column's name ends in it; fps: rates, one for each frame")
	cmd.Flags().BoolVar(&f.reader.timestamps, "frame-timestamps", false, "the column holds the times at which frames came")
	cmd.Flags().Var(&f.reader.delimiter, "frame-delimiter", "what separates columns, where it is not plain")
}

// archive puts the files together, each under its name in the report.
func (f *frameSets) archive(ctx context.Context) (io.Reader, error) {
	if f.reader.unit != "" {
		if _, err := frames.ParseUnit(f.reader.unit); err != nil {
			return nil, misused(err)
		}
	}
	var b bytes.Buffer
	out := tar.NewWriter(&b)
	for _, pair := range f.named {
		name, file, found := strings.Cut(pair, "=")
		if !found || name == "" || file == "" {
			return nil, misused(fmt.Errorf("--frames %s: want NAME=FILE, such as 'unit-oak at 25 W=frames.csv'", pair))
		}
		text, err := userfile.Read(ctx, file, largestSet)
		if err != nil {
			return nil, fmt.Errorf("frame times: %w", err)
		}
		h := &tar.Header{Name: name, Mode: 0o644, Size: int64(len(text)), PAXRecords: map[string]string{testday.FileOfSet: file}}
		if err := out.WriteHeader(h); err != nil {
			return nil, fmt.Errorf("frame times %s: %w", file, err)
		}
		if _, err := out.Write(text); err != nil {
			return nil, err
		}
	}
	return &b, out.Close()
}

// largestSet is how many bytes a file of frame times may have of which a report draws the
// distribution: those of a day.
const largestSet = 512 << 20
