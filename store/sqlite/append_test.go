package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"strings"
	"testing"
	"time"

	"modernc.org/sqlite"

	"sweepd/run"
)

// executed notes what is executed on a connection besides prepared statements.
type executed struct {
	driver.Connector
	queries *[]string
}

func (x executed) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := x.Connector.Connect(ctx)
	return &executedOn{conn, x.queries}, err
}

type executedOn struct {
	driver.Conn
	queries *[]string
}

func (c *executedOn) BeginTx(ctx context.Context, o driver.TxOptions) (driver.Tx, error) {
	return c.Conn.(driver.ConnBeginTx).BeginTx(ctx, o)
}

func (c *executedOn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	*c.queries = append(*c.queries, query)
	return c.Conn.(driver.ExecerContext).ExecContext(ctx, query, args)
}

func (c *executedOn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	return c.Conn.(driver.QueryerContext).QueryContext(ctx, query, args)
}

// A power cut takes less than the last 30 s of sweeps: so often the disk is waited for,
// and hardly more often, in a run and in what follows a reboot, where the monotonic
// clock begins anew.
func TestAppendWaitsForTheDisk(t *testing.T) {
	s := openTest(t)
	must(t, s.BeginRun(t.Context(), newRun("run-0001")))
	var queries []string
	must(t, s.write.Close())
	inner, err := sqlite.NewConnector(dsn(s.path, writerOptions))
	must(t, err)
	s.write = sql.OpenDB(executed{connector{inner, writerPragmas, s.place.opened}, &queries})
	s.write.SetMaxOpenConns(1)
	synced := func(at time.Duration) bool {
		t.Helper()
		queries = nil
		x := run.Sweep{At: run.Instant{Mono: at, Boot: at, Wall: noon.Add(at)}, Values: []float64{1}}
		must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-0001", Sensors: []run.Sensor{{ID: "x", Resolution: 1}}, Sweeps: []run.Sweep{x}}))
		full := false
		for _, q := range queries {
			full = full || strings.Contains(q, "synchronous = FULL")
		}
		return full
	}
	var times []time.Duration
	for at := time.Hour; at <= time.Hour+5*time.Minute; at += time.Second {
		if synced(at) {
			times = append(times, at)
		}
	}
	for i := 1; i < len(times); i++ {
		if gap := times[i] - times[i-1]; gap >= 30*time.Second || gap < 20*time.Second {
			t.Errorf("the disk was waited for %v after the last time, want 20 to 30 s", gap)
		}
	}
	if len(times) < 10 || times[0] != time.Hour {
		t.Errorf("the disk was waited for at %v", times)
	}
	if !synced(time.Minute) || synced(time.Minute+time.Second) {
		t.Error("after a reboot, want the first sweep on the disk and not the second")
	}
}
