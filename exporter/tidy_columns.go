package exporter

// The tidy table: one row a run, one column a quantity, as spreadsheets and
// statistics programs want it. Empty means unknown. Every numeric column that is
// not listed here is a result, named by its header.

// Columns of the tidy table.
const (
	colDevice   = "device"
	colWorkload = "workload"
	colVariant  = "variant"    // k=v pairs joined by commas
	colSupply   = "supply"     // mains or battery
	colSettingW = "setting_w"  // W
	colStarted  = "started_at" // RFC 3339
	colDuration = "duration_s" // s
	colPackage  = "package_w"  // W
	colSystem   = "system_w"   // W

	// What an export adds, so that it can be imported again without loss.
	colRun     = "run"     // the run's id
	colSetting = "setting" // the setting's name where its watts are unknown
	colState   = "state"
	colWhy     = "why"
	colNote    = "note"
	colUnits   = "units" // of the results: name=unit pairs joined by semicolons
	colLower   = "lower" // results of which less is better, joined by semicolons
	// What the row said when it was written, see Revision: an import takes a cell that
	// differs for a correction.
	colRevision = "revision"
)

// textColumns are those whose cells are written as run.CSVText makes them.
var textColumns = []string{colRun, colDevice, colWorkload, colVariant, colSetting, colWhy, colNote, colUnits, colLower}

// tidyColumns are the known columns in the order in which they are written.
var tidyColumns = []string{
	colRun, colDevice, colWorkload, colVariant, colSupply, colSettingW, colSetting, colStarted, colDuration,
	colPackage, colSystem, colState, colWhy, colNote, colUnits, colLower, colRevision,
}
