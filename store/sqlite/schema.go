package sqlite

import (
	"context"
	"database/sql"
	_ "embed"
	"fmt"
	"strings"
)

// Version is the version of the schema that this program reads and writes
// (PRAGMA user_version).
const Version = 3

// applicationID marks our files (PRAGMA application_id): "swpd" in ASCII.
const applicationID = 0x73777064

//go:embed schema.sql
var schema string

// views is the part of the schema that a migration makes anew.
var views = schema[strings.Index(schema, "CREATE VIEW"):]

// migrations[i] brings a file from version i+1 to i+2. schema.sql is always
// the newest: a test brings a file of each old version up and compares.
var migrations = []string{
	// Version 1 does not tell what was imported; runs of a table have no facts and no
	// readings.
	dropViews + `CREATE TABLE imports (
	  id              INTEGER PRIMARY KEY,
	  done            INTEGER NOT NULL CHECK (done IN (0, 1)),
	  alive_until_ms  INTEGER NOT NULL
	) STRICT;
	INSERT INTO imports VALUES (1, 1, 0);
	ALTER TABLE runs ADD COLUMN import INTEGER;
	UPDATE runs SET import = 1 WHERE fact_set IS NULL AND state <> 'recording'
		AND n NOT IN (SELECT run FROM summaries) AND n NOT IN (SELECT run FROM series WHERE run IS NOT NULL);
	ALTER TABLE runs ADD COLUMN end_charge_ratio REAL;
	UPDATE runs SET end_charge_ratio = ` + endCharge + `;
	` + added("run_checksums", "series_checksums", "checksums") + views,
	// Version 2 keeps of what a person typed only results, states and plans. What is added
	// here must leave the checksums of a run without it as they are.
	dropViews + `ALTER TABLE decisions RENAME TO decisions2;
	` + added("decisions") + `INSERT INTO decisions SELECT run, at, what, who, why FROM decisions2 ORDER BY rowid;
	DROP TABLE decisions2;
	CREATE INDEX decisions_of_run ON decisions (run);
	ALTER TABLE imports ADD COLUMN at TEXT;
	ALTER TABLE imports ADD COLUMN source TEXT NOT NULL DEFAULT '';
	ALTER TABLE imports ADD COLUMN taken_back INTEGER NOT NULL DEFAULT 0 CHECK (taken_back IN (0, 1));
	ALTER TABLE imports ADD COLUMN taken_back_at TEXT;
	ALTER TABLE runs ADD COLUMN load_end_s REAL;
	ALTER TABLE runs ADD COLUMN whole_s REAL;
	ALTER TABLE summaries RENAME TO summaries2;
	` + added("summaries") + `INSERT INTO summaries SELECT *, NULL FROM summaries2;
	DROP TABLE summaries2;
	` + added("corrections", "declarations") + views,
}

const dropViews = `DROP VIEW IF EXISTS kept_runs; DROP VIEW run_table; DROP VIEW result_table; DROP VIEW finding_table;
	DROP VIEW summary_table; DROP VIEW fact_table; DROP VIEW reading_rows;
	`

// added are the statements that make tables of the newest schema.
func added(tables ...string) (statements string) {
	for _, table := range tables {
		from := strings.Index(schema, "CREATE TABLE "+table+" ")
		statements += schema[from:from+strings.Index(schema[from:], ";")+1] + "\n"
	}
	return statements
}

// schemaVersion is 0 for an empty file.
func schemaVersion(ctx context.Context, q queryer) (int, error) {
	var id, version, tables int
	err := q.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id),
		(SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)`).Scan(&id, &version, &tables)
	switch {
	case err != nil:
		return 0, err
	case tables == 0 && id == 0:
		return 0, nil
	case id != applicationID:
		return 0, fmt.Errorf("a database of another program: %w", ErrNotOurs)
	case version < 1:
		return 0, fmt.Errorf("%w: there is no schema %d", ErrNotOurs, version)
	case version > Version:
		return 0, fmt.Errorf("%w (schema %d, this one knows %d)", ErrNewerSchema, version, Version)
	}
	return version, nil
}

// migrate makes the schema of an empty file, or brings an older one up to date.
func migrate(ctx context.Context, db *sql.DB) error {
	v, err := schemaVersion(ctx, db)
	if err == nil && v > 0 {
		err = checkTables(ctx, db, v)
	}
	if err != nil || v == Version {
		return err
	}
	return inTx(ctx, db, func(tx *sql.Tx) error {
		v, err := schemaVersion(ctx, tx) // again, with the lock held
		if err != nil || v == Version {
			return err
		}
		steps := []string{schema}
		if v > 0 {
			steps = migrations[v-1:]
		}
		steps = append(steps, fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, Version))
		for _, step := range steps {
			if _, err := tx.ExecContext(ctx, step); err != nil {
				return fmt.Errorf("bringing schema %d to %d: %w", v, Version, err)
			}
		}
		if v == 1 {
			return sealAll(ctx, tx)
		}
		return nil // the checksums of version 2 cover what it had, and hold on
	})
}
