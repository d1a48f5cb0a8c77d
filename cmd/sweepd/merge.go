package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sweepd/internal/userfile"
	"sweepd/report/sentence"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

func (a *app) mergeCommand() *cobra.Command {
	var same []string
	cmd := &cobra.Command{
		Use:   "merge OTHER.db",
		Short: "Take over all runs and readings of another device's data file",
		Long: `Take over all runs, with their readings, results and facts, from the data file (or
data folder) of another device. Merging again adds nothing. Of a run that is here
already its corrections are taken over; what both corrected is named, and the later
correction counts. A run that both files have with different content otherwise is
named and left as it is here; one that is damaged, or
that breaks the rules of import, is named and left out. The rest comes in, and the
command ends with 1. Nothing that the other file says is run: it must have the tables
of a sweepd file and no triggers. A reader sees all that comes in, or nothing.

Two devices never become one by accident: where a device of the other file is another
machine than the one of that name here, by what its runs say of it, nothing is merged.
"sweepd device rename" gives one of them another name; --same-device says that they are
one all the same, as after its system was installed anew.`,
		Example: `  sweepd merge /media/stick/unit-elm/sweepd.db
  sweepd compare --by device`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := testday.CheckDataFile(args[0]); err != nil {
				return err
			}
			at, err := a.whom(cmd.Context())
			if err != nil {
				return err
			}
			bar := progress(a.err, 1, "merging")
			show := func(done, total int) {
				bar.ChangeMax(total)
				_ = bar.Set(done)
			}
			var m testday.Merged
			if at.agent != nil {
				m, err = a.sendToMerge(cmd.Context(), args[0], same, show)
			} else {
				err = a.withStore(sqlite.Options{}, func(s store.Store, c config) (err error) {
					m, err = testday.MergeAndJudge(cmd.Context(), s, args[0], same, c.Thresholds.forJudge(), time.Now(), show)
					return err
				})
			}
			_ = bar.Finish()
			if err != nil {
				return err
			}
			if a.json {
				err = a.printJSON(m)
			} else {
				err = a.printMerge(m)
			}
			if err != nil {
				return err
			}
			return m.Failed()
		},
	}
	cmd.Flags().StringArrayVar(&same, "same-device", nil, "the device `NAME` is one machine, here and there (repeatable)")
	return cmd
}

// sendToMerge has the agent take over a data file that this user reads: it travels as
// bytes, with the log that the database keeps beside it.
func (a *app) sendToMerge(ctx context.Context, path string, same []string, show func(done, total int)) (m testday.Merged, err error) {
	other, err := sqlite.Open(path, sqlite.Options{ReadOnly: true}) // what is no data file is told before it travels
	if err != nil {
		return m, ofOwner(path, err)
	}
	name := other.Path()
	if err := other.Close(); err != nil {
		return m, err
	}
	q := testday.MergeRequest{Name: name, SameDevice: same}
	file, err := userfile.Open(ctx, name, largestData)
	if err != nil {
		return m, err
	}
	defer file.Close()
	q.Bytes = file.Size()
	log, err := userfile.Open(ctx, name+"-wal", largestData)
	switch {
	case err == nil:
		defer log.Close()
		q.LogBytes = log.Size()
	case !errors.Is(err, fs.ErrNotExist):
		return m, err
	}
	parts := []io.Reader{io.LimitReader(file, q.Bytes)}
	if q.LogBytes > 0 {
		parts = append(parts, io.LimitReader(log, q.LogBytes))
	}
	sent := &counting{Reader: io.MultiReader(parts...), tell: func(n int64) {
		show(int(n*1000/max(1, q.Bytes+q.LogBytes)), 1000)
	}}
	return callWith(ctx, a, testday.MergeFile, q, bytesOf{in: sent})
}

// largestData is far above the data of a lab in years, bytes.
const largestData = 8 << 30

// counting tells how many bytes have been read.
type counting struct {
	io.Reader
	n    int64
	tell func(n int64)
}

func (c *counting) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	c.n += int64(n)
	c.tell(c.n)
	return n, err
}

// Lines of a report that a terminal shows whole; --json has them all.
const (
	shownConflicts   = 10
	shownDifferences = 3
)

func (a *app) printMerge(r testday.Merged) error {
	p := a.printer()
	p.Line("%s added, %d were here already", sentence.Counted(r.Added, "run"), r.Known)
	if n := len(r.Corrected); n > 0 {
		p.Line("%s here already, with corrections that were made there", sentence.Counted(n, "run"))
	}
	for _, c := range r.Overruled[:min(shownConflicts, len(r.Overruled))] {
		p.Line("corrected in both: %s, the later one counts: %s", run.ShortID(c.Run), someOf(c.Differences, shownDifferences))
	}
	for _, id := range r.Recording {
		p.Line("not taken: %s is still recording there; merge again when it has ended", run.ShortID(id))
	}
	for _, c := range r.Conflicts[:min(shownConflicts, len(r.Conflicts))] {
		p.Line("conflict: %s differs and was left as it is here: %s", run.ShortID(c.Run), someOf(c.Differences, shownDifferences))
	}
	if more := len(r.Conflicts) - shownConflicts; more > 0 {
		p.Line("and %d more conflicts; --json lists all of them", more)
	}
	for _, b := range r.Bad[:min(shownConflicts, len(r.Bad))] {
		p.Line("left out: %s: %s", b.Run, b.Why)
	}
	if more := len(r.Bad) - shownConflicts; more > 0 {
		p.Line("and %d more runs left out; --json lists all of them", more)
	}
	return p.Err
}

// someOf joins the first n texts and says how many more there are.
func someOf(list []string, n int) string {
	if len(list) <= n {
		return strings.Join(list, "; ")
	}
	return fmt.Sprintf("%s; and %d more", strings.Join(list[:n], "; "), len(list)-n)
}
