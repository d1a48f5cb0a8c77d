package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"

	"modernc.org/sqlite"
)

// pragma is a setting of a connection and the answer that proves it took.
type pragma struct{ name, value, answer string }

// cacheKiB is each connection's page cache. The agent's whole memory is 8 MB.
const cacheKiB = "-256"

// checkpointPages is how long the write-ahead log may grow: 1 MiB.
const checkpointPages = "256"

// busyTimeout is how long a connection waits for a lock, ms.
const busyTimeout = "10000"

var writerPragmas = []pragma{
	{"busy_timeout", busyTimeout, busyTimeout},
	{"page_size", "4096", "4096"}, // of a new file; ours all have it
	{"journal_mode", "WAL", "wal"},
	{"synchronous", "NORMAL", "1"},
	{"foreign_keys", "ON", "1"},
	{"cache_size", cacheKiB, cacheKiB},
	{"mmap_size", "0", "0"},
	{"wal_autocheckpoint", checkpointPages, checkpointPages},
	{"journal_size_limit", "4194304", "4194304"}, // a WAL that an import blew up shrinks again
	{"trusted_schema", "OFF", "0"},
}

var readerPragmas = []pragma{
	{"busy_timeout", busyTimeout, busyTimeout},
	{"query_only", "ON", "1"},
	{"cache_size", cacheKiB, cacheKiB},
	{"mmap_size", "0", "0"},
	{"trusted_schema", "OFF", "0"},
}

// connector opens connections and sets and reads back their pragmas.
type connector struct {
	driver.Connector
	pragmas []pragma
	opened  func() error // tells what is wrong with the file that was opened; nil: nothing
}

func (c connector) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	for _, p := range c.pragmas {
		if err := p.set(ctx, conn); err != nil {
			return nil, errors.Join(err, conn.Close())
		}
	}
	if c.opened != nil {
		if err := c.opened(); err != nil {
			return nil, errors.Join(err, conn.Close())
		}
	}
	return conn, nil
}

func (p pragma) set(ctx context.Context, conn driver.Conn) error {
	query := conn.(driver.QueryerContext)
	rows, err := query.QueryContext(ctx, "PRAGMA "+p.name+" = "+p.value, nil)
	if err != nil {
		return fmt.Errorf("setting %s: %w", p.name, err)
	}
	if err := rows.Close(); err != nil {
		return fmt.Errorf("setting %s: %w", p.name, err)
	}
	got, err := askPragma(ctx, query, p.name)
	if err != nil {
		return fmt.Errorf("reading %s back: %w", p.name, err)
	}
	if got != p.answer {
		return fmt.Errorf("%s is %q, want %q: this file system or build does not support it", p.name, got, p.answer)
	}
	return nil
}

func askPragma(ctx context.Context, query driver.QueryerContext, name string) (string, error) {
	rows, err := query.QueryContext(ctx, "PRAGMA "+name, nil)
	if err != nil {
		return "", err
	}
	value := make([]driver.Value, len(rows.Columns()))
	err = rows.Next(value)
	if closeErr := rows.Close(); err == nil {
		err = closeErr
	}
	if err != nil || len(value) == 0 {
		return "", fmt.Errorf("no answer: %w", err)
	}
	return fmt.Sprint(value[0]), nil
}

// openPool prepares a pool; its connections open when first used, and opened tells what
// is wrong with each.
func openPool(dsn string, pragmas []pragma, opened func() error) (*sql.DB, error) {
	inner, err := sqlite.NewConnector(dsn)
	if err != nil {
		return nil, err
	}
	return sql.OpenDB(connector{inner, pragmas, opened}), nil
}

// defensive keeps what a file holds from making SQL damage it
// (https://sqlite.org/c3ref/c_dbconfig_defensive.html).
const defensive = "_defensive=1"

// writerOptions have every transaction begin with the write lock: upgrading a
// read lock could fail at once.
const writerOptions = "_txlock=immediate&" + defensive

// dsn is the path as a URI, with options.
func dsn(path, options string) string {
	abs, err := filepath.Abs(path)
	if err != nil {
		abs = path
	}
	return fileURI(filepath.ToSlash(abs)) + "?" + options
}

// fileURI is a full path with slashes as a URI (https://sqlite.org/uri.html).
func fileURI(path string) string {
	if !strings.HasPrefix(path, "/") { // C:/folder
		path = "/" + path
	}
	return (&url.URL{Scheme: "file", Path: path}).String()
}
