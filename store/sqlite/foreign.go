package sqlite

import (
	"context"
	"database/sql"
	_ "embed"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// foreign is another data file that is read as it is at one moment, as that of a
// stranger: it may hold anything. Nothing in it is run: its tables are plain ones, the
// same as ours, and its structure is a tree, so that reading it ends.
type foreign struct {
	*Store
	conn *sql.Conn
	tx   *sql.Tx
}

// maxValue is the longest text or blob that is read from a foreign file, in bytes. Rows
// of readings are far shorter.
const maxValue = 1 << 20

// vetTime is how long it may take to find out what tables a foreign file has.
const vetTime = 20 * time.Second

func openForeign(ctx context.Context, path string) (f *foreign, err error) {
	f = &foreign{}
	if f.Store, err = Open(path, Options{ReadOnly: true}); err != nil {
		return nil, err
	}
	if err := f.begin(ctx); err != nil {
		return nil, errors.Join(err, f.close())
	}
	return f, nil
}

func (f *foreign) begin(ctx context.Context) (err error) {
	if f.conn, err = f.read.Conn(ctx); err != nil {
		return err
	}
	if _, err = sqlite.Limit(f.conn, sqlite3.SQLITE_LIMIT_LENGTH, maxValue); err != nil {
		return err
	}
	// A page that does not keep to the format is damaged (https://sqlite.org/security.html).
	if _, err = f.conn.ExecContext(ctx, "PRAGMA cell_size_check = ON"); err != nil {
		return err
	}
	if f.tx, err = f.conn.BeginTx(ctx, nil); err != nil {
		return err
	}
	if err := f.checkStructure(ctx); err != nil {
		return err
	}
	var facts int
	if err := f.tx.QueryRowContext(ctx, `SELECT count(*) FROM facts`).Scan(&facts); err != nil {
		return err
	}
	if facts > maxFactTexts {
		return fmt.Errorf("%w: it has %d facts, and at most %d are allowed", ErrNotOurs, facts, maxFactTexts)
	}
	return nil
}

func (f *foreign) close() error {
	var errs []error
	if f.tx != nil {
		if err := f.tx.Rollback(); !errors.Is(err, sql.ErrTxDone) { // the end of its context rolled it back
			errs = append(errs, err)
		}
	}
	if f.conn != nil {
		errs = append(errs, f.conn.Close())
	}
	return errors.Join(append(errs, f.Store.Close())...)
}

// tangled is what SQLite says of a page that two others refer to
// (checkRef in btree.c).
const tangled = "2nd reference to page"

// maxProblems is how many problems of the structure SQLite tells.
const maxProblems = 100000

// checkStructure has SQLite walk every page once: a tree whose branches grow together
// would be read for ever. Other damage shows where a run is read, which is then left out.
func (f *foreign) checkStructure(ctx context.Context) error {
	problems := 0
	return each(ctx, f.tx, func(rows *sql.Rows) error {
		var text string
		if err := rows.Scan(&text); err != nil {
			return err
		}
		problems += 1 + strings.Count(text, "\n")
		if problems >= maxProblems || strings.Contains(text, tangled) {
			return errTangled
		}
		return nil
	}, fmt.Sprintf("PRAGMA quick_check(%d)", maxProblems))
}

var errTangled = errors.New("its structure is damaged: pages belong to several tables, or to one several times")

func firstLine(text string) string {
	line, _, _ := strings.Cut(text, "\n")
	return line
}

//go:embed schema1.sql
var schema1 string

//go:embed schema2.sql
var schema2 string

// tablesOf are the statements that make the tables of a schema, without spaces, by name.
func tablesOf(schema string) map[string]string {
	all := map[string]string{}
	for statement := range strings.SplitSeq(spaces.ReplaceAllString(schema, ""), ";") {
		if rest, is := strings.CutPrefix(statement, "CREATETABLE"); is {
			name, _, _ := strings.Cut(rest, "(")
			all[name] = statement
		}
	}
	return all
}

// maxObjects is far above the number of tables, indexes and views that a file has.
const maxObjects = 1000

// checkTables refuses a file whose tables are others than a version's own: another
// program's, virtual ones, views under their names, with columns that compute something
// or with triggers. Views, indexes and other tables are nobody's business: they are not
// read.
func checkTables(ctx context.Context, q rowsQueryer, version int) error {
	ctx, cancel := context.WithTimeout(ctx, vetTime)
	defer cancel()
	missing := tablesOf([...]string{schema1, schema2, schema}[version-1])
	objects := 0
	err := each(ctx, q, func(rows *sql.Rows) error {
		var kind, name, text string
		if err := rows.Scan(&kind, &name, &text); err != nil {
			return err
		}
		if objects++; objects > maxObjects {
			return fmt.Errorf("%w: it has more than %d tables, indexes and views", ErrNotOurs, maxObjects)
		}
		if kind == "trigger" {
			return fmt.Errorf("%w: it has a trigger (%s)", ErrNotOurs, firstLine(name))
		}
		if want, ours := missing[name]; ours && kind == "table" && spaces.ReplaceAllString(text, "") == want {
			delete(missing, name)
		}
		return nil
	}, `SELECT type, name, CASE WHEN type = 'table' THEN substr(sql, 1, 20000) ELSE '' END FROM sqlite_schema`)
	if err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(missing)) {
		return fmt.Errorf("%w: its table %s is not as sweepd makes it", ErrNotOurs, name)
	}
	return nil
}
