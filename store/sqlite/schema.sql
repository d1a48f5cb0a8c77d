-- The data of sweepd: one file, read best through the views at the end
-- (sqlite3 sweepd.db 'SELECT * FROM run_table').
--
-- Conventions. Units are in the names: _w watts, _j joules, _s seconds,
-- _c degrees Celsius, _ratio 0 to 1; values in `results` and `summaries` carry
-- a unit of their own. Times are RFC 3339 in UTC with milliseconds, so that
-- text order is time order; the few columns called _ms are Unix time in
-- milliseconds. An unknown number is NULL, an unknown text ''.

-- What `import` and `merge` bring is not there before all of it is: runs of an
-- import that is not done are hidden, see kept_runs. One that was broken off is
-- taken out again by the next one, or by the agent's upkeep. Runs of one that a user
-- took back are hidden, too, and come back with it.
CREATE TABLE imports (
  id              INTEGER PRIMARY KEY,
  done            INTEGER NOT NULL CHECK (done IN (0, 1)),
  alive_until_ms  INTEGER NOT NULL,          -- later, one that is not done is broken off; 0: it is done
  at              TEXT,                      -- when it was done; NULL unknown
  source          TEXT NOT NULL DEFAULT '',  -- the file that it read
  taken_back      INTEGER NOT NULL DEFAULT 0 CHECK (taken_back IN (0, 1)),
  taken_back_at   TEXT                       -- its runs are hidden since; NULL: they are there
) STRICT;

-- One row for each run. n is local to this file; id is the same everywhere.
CREATE TABLE runs (
  n               INTEGER PRIMARY KEY,
  id              TEXT NOT NULL UNIQUE,
  device          TEXT NOT NULL,
  workload        TEXT NOT NULL,
  variant         TEXT NOT NULL DEFAULT '',  -- sorted k=v pairs joined by commas
  supply          TEXT NOT NULL DEFAULT '' CHECK (supply IN ('mains', 'battery', '')),
  setting_w       REAL,                      -- the active setting in watts,
  setting         TEXT NOT NULL DEFAULT '',  -- or its name where the watts are unknown
  setting_source  TEXT NOT NULL DEFAULT '',  -- declared, command, firmware, powercap, gpu, profile
  setting_read_w      REAL,                  -- what the system reported at the start;
  setting_read        TEXT,                  -- NULL when it reports nothing
  setting_read_source TEXT,
  state           TEXT NOT NULL CHECK (state IN ('recording', 'finished', 'interrupted', 'rejected')),
  state_before    TEXT NOT NULL DEFAULT '',  -- of a rejected run: what `run keep` brings back
  why             TEXT NOT NULL DEFAULT '',  -- of a rejected run, or an interrupted one that was kept
  note            TEXT NOT NULL DEFAULT '',  -- the user's
  started_at      TEXT,
  duration_s      REAL,                      -- NULL while recording
  package_w       REAL,                      -- package energy / duration
  system_w        REAL,                      -- power drawn from the battery, on battery
  discharge_w              REAL,             -- positive while discharging
  discharge_uncertainty_w  REAL,             -- half width of a 95 % interval
  discharge_from_power_w   REAL,
  discharge_from_energy_w  REAL,
  warmup_s        REAL,                      -- warm-up that steady_mean leaves out; NULL: none
  start_temperature_c  REAL,                 -- of the hottest sensor in the first sweep
  start_charge_ratio   REAL,                 -- mean of the batteries in the first sweep
  fact_set        INTEGER REFERENCES fact_sets (id),
  import          INTEGER,                   -- the one that brought it, see imports; NULL: recorded here
  end_charge_ratio     REAL,                 -- mean of the batteries in the last sweep
  load_end_s      REAL,                      -- after the start, where the load ended before the run did; NULL: it did not
  whole_s         REAL                       -- how long it was recorded, where it was trimmed to duration_s
) STRICT;

-- The numbers that the workload reported, as they stand now.
CREATE TABLE results (
  run     INTEGER NOT NULL REFERENCES runs (n),
  name    TEXT NOT NULL,
  value   REAL NOT NULL,
  unit    TEXT NOT NULL DEFAULT '',
  better  TEXT NOT NULL CHECK (better IN ('higher', 'lower')),
  set_at  TEXT,                              -- NULL: with the run
  PRIMARY KEY (run, name)
) STRICT, WITHOUT ROWID;

-- Results that a correction replaced. Nothing is ever taken out of here.
CREATE TABLE result_history (
  run          INTEGER NOT NULL REFERENCES runs (n),
  name         TEXT NOT NULL,
  value        REAL NOT NULL,
  unit         TEXT NOT NULL,
  better       TEXT NOT NULL,
  set_at       TEXT,
  replaced_at  TEXT
) STRICT;
CREATE INDEX result_history_of_run ON result_history (run, name);

-- Every rejection and every `run keep`, by a finding or by the user, and every undoing of
-- a `run keep`.
CREATE TABLE decisions (
  run   INTEGER NOT NULL REFERENCES runs (n),
  at    TEXT,
  what  TEXT NOT NULL CHECK (what IN ('reject', 'keep', 'unkeep', 'trim', 'untrim')),
  who   TEXT NOT NULL CHECK (who IN ('finding', 'user')),
  why   TEXT NOT NULL
) STRICT;
CREATE INDEX decisions_of_run ON decisions (run);

-- What was typed of a run and was corrected later. A correction that takes another one
-- back is one, too; nothing is ever taken out of here.
CREATE TABLE corrections (
  run     INTEGER NOT NULL REFERENCES runs (n),
  batch   TEXT NOT NULL,                     -- the same in every file: what is corrected together
  at      TEXT NOT NULL,
  who     TEXT NOT NULL,                     -- as the system calls them
  why     TEXT NOT NULL,
  undoes  TEXT NOT NULL,                     -- the batch that is taken back, '' for none
  what    TEXT NOT NULL,                     -- device, workload, variant, supply, setting, setting_source, note or result
  name    TEXT NOT NULL,                     -- of the result
  old     TEXT NOT NULL,
  new     TEXT NOT NULL,                     -- '' where a result was removed
  PRIMARY KEY (run, batch, what, name)
) STRICT, WITHOUT ROWID;

-- What a reader must know about a run.
CREATE TABLE findings (
  run       INTEGER NOT NULL REFERENCES runs (n),
  position  INTEGER NOT NULL,
  code      TEXT NOT NULL,
  severity  TEXT NOT NULL CHECK (severity IN ('note', 'doubt', 'reject')),
  text      TEXT NOT NULL,
  at        TEXT,                            -- NULL: the run as a whole
  PRIMARY KEY (run, position)
) STRICT, WITHOUT ROWID;

-- Every sensor that any run, series or summary knows.
CREATE TABLE sensors (
  id          INTEGER PRIMARY KEY,
  sensor      TEXT NOT NULL,                 -- 'temperature_celsius'
  instance    TEXT NOT NULL,                 -- '' where a device has only one
  unit        TEXT NOT NULL,
  kind        TEXT NOT NULL CHECK (kind IN ('gauge', 'counter')),
  source      TEXT NOT NULL,                 -- path or call it was read from
  resolution  REAL NOT NULL,                 -- smallest step, in unit; 0 unknown
  UNIQUE (sensor, instance, unit, kind, source, resolution)
) STRICT;

-- One sensor over one run, in the unit of the sensor.
CREATE TABLE summaries (
  run       INTEGER NOT NULL REFERENCES runs (n),
  position  INTEGER NOT NULL,
  sensor    INTEGER NOT NULL REFERENCES sensors (id),
  mean      REAL,                            -- time-weighted
  min       REAL,
  max       REAL,
  p95       REAL,                            -- not exceeded for 95 % of the time
  first     REAL,
  last      REAL,
  energy_j  REAL,
  steady_mean REAL,                          -- after the warm-up
  load_mean   REAL,                          -- until the load ended
  PRIMARY KEY (run, position)
) STRICT, WITHOUT ROWID;

-- What a device said of itself. Runs with the same facts share one set.
CREATE TABLE fact_sets (
  id      INTEGER PRIMARY KEY,
  digest  BLOB NOT NULL UNIQUE               -- of the facts, see facts.go
) STRICT;
CREATE TABLE facts (
  fact_set  INTEGER NOT NULL REFERENCES fact_sets (id),
  name      TEXT NOT NULL,
  value     TEXT NOT NULL,
  PRIMARY KEY (fact_set, name)
) STRICT, WITHOUT ROWID;

-- A series is a chain of packed sweeps: those of one run, or a stretch of idle
-- sweeps (run NULL).
CREATE TABLE series (
  id          INTEGER PRIMARY KEY,
  device      TEXT NOT NULL,
  run         INTEGER UNIQUE REFERENCES runs (n),
  started_ms  INTEGER NOT NULL,              -- of the first sweep
  format      INTEGER NOT NULL               -- of `readings.data`, see pack.go
) STRICT;
CREATE INDEX idle_series ON series (device, started_ms) WHERE run IS NULL;

-- The sensors of a series in the order of its values; it may grow.
CREATE TABLE series_sensors (
  series    INTEGER NOT NULL REFERENCES series (id),
  position  INTEGER NOT NULL,
  sensor    INTEGER NOT NULL REFERENCES sensors (id),
  PRIMARY KEY (series, position)
) STRICT, WITHOUT ROWID;

-- The settings and supplies that a series' sweeps name by position.
CREATE TABLE series_labels (
  series          INTEGER NOT NULL REFERENCES series (id),
  position        INTEGER NOT NULL,
  setting_w       REAL,
  setting         TEXT NOT NULL,
  setting_source  TEXT NOT NULL,
  supply          TEXT NOT NULL,
  PRIMARY KEY (series, position)
) STRICT, WITHOUT ROWID;

-- About a second of sweeps each. id is series << 32 | position, so that new
-- rows always go to the end of the table. See `reading_rows`.
CREATE TABLE readings (
  id      INTEGER PRIMARY KEY,
  at_ms   INTEGER NOT NULL,                  -- of the first sweep
  sweeps  INTEGER NOT NULL,
  data    BLOB NOT NULL                      -- packed, see pack.go
) STRICT;

-- Plans of test days; the newest is in force.
CREATE TABLE plans (
  id          INTEGER PRIMARY KEY,
  created_at  TEXT NOT NULL,
  seed        TEXT NOT NULL,                 -- of the random order: 64 bits, without a sign
  hard        TEXT NOT NULL,                 -- keys of the variant that are hard to change, joined by commas
  said        TEXT NOT NULL                  -- what the user said of runs and batteries, as JSON; the rest is learnt
) STRICT;

-- The runs of a plan in the order in which to do them. What became of them
-- follows from `runs`.
CREATE TABLE plan_slots (
  plan      INTEGER NOT NULL REFERENCES plans (id),
  position  INTEGER NOT NULL,                -- from 1
  pass      INTEGER NOT NULL,                -- from 1
  device    TEXT NOT NULL,
  workload  TEXT NOT NULL,
  variant   TEXT NOT NULL DEFAULT '',
  supply    TEXT NOT NULL CHECK (supply IN ('mains', 'battery')),
  setting_w REAL,
  setting   TEXT NOT NULL DEFAULT '',
  needs_charge_ratio REAL,                   -- of the battery at the start; NULL: any
  wait_s    REAL NOT NULL DEFAULT 0,         -- expected for charging before it
  PRIMARY KEY (plan, position)
) STRICT, WITHOUT ROWID;

-- The setting that a person declared for a device, until another one is declared.
CREATE TABLE declarations (
  device       TEXT PRIMARY KEY,
  setting_w    REAL,
  setting      TEXT NOT NULL DEFAULT '',     -- its name where the watts are unknown
  declared_at  TEXT NOT NULL,
  declared_by  TEXT NOT NULL,                -- the command, or other program
  checksum     INTEGER NOT NULL              -- of the other columns, see checksum.go
) STRICT, WITHOUT ROWID;

-- How each entry of the schedule went when it was last due.
CREATE TABLE schedule_outcomes (
  entry     TEXT PRIMARY KEY,
  due_at    TEXT NOT NULL,
  ended_at  TEXT NOT NULL,
  outcome   TEXT NOT NULL CHECK (outcome IN ('done', 'failed', 'left out')),
  text      TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- Checksums of what is kept (CRC-32C, see checksum.go): reading holds the data against
-- them, so that no damaged number is taken for a measured one. They are only made by
-- sweepd: whoever changes a row by hand finds the run called damaged, and
-- `sweepd check` names it. Packed readings end with a checksum of their own.
CREATE TABLE run_checksums (
  run        INTEGER PRIMARY KEY REFERENCES runs (n),
  run_row    INTEGER NOT NULL,               -- of the row in `runs`
  results    INTEGER NOT NULL,
  findings   INTEGER NOT NULL,
  facts      INTEGER NOT NULL,
  summaries  INTEGER NOT NULL,
  history    INTEGER NOT NULL                -- of result_history, decisions and corrections
) STRICT;
CREATE TABLE series_checksums (
  series     INTEGER PRIMARY KEY REFERENCES series (id),
  identity   INTEGER NOT NULL,               -- of the device, the id of the run and the start
  row_count  INTEGER,                        -- rows of readings, NULL while being recorded
  checksum   INTEGER NOT NULL                -- of the series, its sensors and labels
) STRICT;
CREATE TABLE checksums (
  kind      TEXT NOT NULL CHECK (kind IN ('plan', 'outcome')),
  of        INTEGER NOT NULL,                -- plans.id, or the checksum of the name of an entry
  checksum  INTEGER NOT NULL,
  PRIMARY KEY (kind, of)
) STRICT, WITHOUT ROWID;

CREATE VIEW kept_runs AS
  SELECT * FROM runs WHERE import IS NULL OR import NOT IN (SELECT id FROM imports
    WHERE NOT done AND alive_until_ms > 0 OR taken_back AND taken_back_at IS NOT NULL);

CREATE VIEW run_table AS
  SELECT id, device, workload, variant, supply,
    CASE WHEN setting_w IS NULL THEN setting
         WHEN setting_w = CAST(setting_w AS INTEGER) THEN CAST(setting_w AS INTEGER) || 'W'
         ELSE setting_w || 'W' END AS setting,
    state, started_at, duration_s, package_w, system_w,
    (SELECT group_concat(name || '=' || value || unit, ' ') FROM results WHERE run = n) AS results,
    (SELECT group_concat(code, ' ') FROM findings WHERE run = n) AS findings,
    why, note
  FROM kept_runs ORDER BY started_at, n;

CREATE VIEW result_table AS
  SELECT id, device, workload, variant, supply, setting_w, setting, state, name, value, unit, better, set_at
  FROM results JOIN kept_runs ON n = run ORDER BY started_at, n, name;

CREATE VIEW finding_table AS
  SELECT id, started_at, severity, code, text, at
  FROM findings JOIN kept_runs ON n = run ORDER BY started_at, n, position;

CREATE VIEW summary_table AS
  SELECT r.id, s.sensor, s.instance, s.unit, mean, min, max, p95, first, last, energy_j, steady_mean, load_mean
  FROM summaries m JOIN kept_runs r ON r.n = m.run JOIN sensors s ON s.id = m.sensor
  ORDER BY started_at, n, position;

CREATE VIEW fact_table AS
  SELECT id, device, started_at, name, value
  FROM kept_runs JOIN facts USING (fact_set) ORDER BY started_at, n, name;

CREATE VIEW reading_rows AS
  SELECT d.id >> 32 AS series, d.id & 0xffffffff AS position, s.device,
    r.id AS run, strftime('%Y-%m-%dT%H:%M:%fZ', at_ms / 1000.0, 'unixepoch') AS at,
    sweeps, length(data) AS bytes
  FROM readings d JOIN series s ON s.id = d.id >> 32 LEFT JOIN kept_runs r ON r.n = s.run
  WHERE s.run IS NULL OR r.n IS NOT NULL;
