-- The tables of version 1, as files that were not brought up to date have them.
CREATE TABLE runs (
  n               INTEGER PRIMARY KEY,
  id              TEXT NOT NULL UNIQUE,
  device          TEXT NOT NULL,
  workload        TEXT NOT NULL,
  variant         TEXT NOT NULL DEFAULT '',
  supply          TEXT NOT NULL DEFAULT '' CHECK (supply IN ('mains', 'battery', '')),
  setting_w       REAL,
  setting         TEXT NOT NULL DEFAULT '',
  setting_source  TEXT NOT NULL DEFAULT '',
  setting_read_w      REAL,
  setting_read        TEXT,
  setting_read_source TEXT,
  state           TEXT NOT NULL CHECK (state IN ('recording', 'finished', 'interrupted', 'rejected')),
  state_before    TEXT NOT NULL DEFAULT '',
  why             TEXT NOT NULL DEFAULT '',
  note            TEXT NOT NULL DEFAULT '',
  started_at      TEXT,
  duration_s      REAL,
  package_w       REAL,
  system_w        REAL,
  discharge_w              REAL,
  discharge_uncertainty_w  REAL,
  discharge_from_power_w   REAL,
  discharge_from_energy_w  REAL,
  warmup_s        REAL,
  start_temperature_c  REAL,
  start_charge_ratio   REAL,
  fact_set        INTEGER REFERENCES fact_sets (id)
) STRICT;
CREATE TABLE results (
  run     INTEGER NOT NULL REFERENCES runs (n),
  name    TEXT NOT NULL,
  value   REAL NOT NULL,
  unit    TEXT NOT NULL DEFAULT '',
  better  TEXT NOT NULL CHECK (better IN ('higher', 'lower')),
  set_at  TEXT,
  PRIMARY KEY (run, name)
) STRICT, WITHOUT ROWID;
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
CREATE TABLE decisions (
  run   INTEGER NOT NULL REFERENCES runs (n),
  at    TEXT,
  what  TEXT NOT NULL CHECK (what IN ('reject', 'keep')),
  who   TEXT NOT NULL CHECK (who IN ('finding', 'user')),
  why   TEXT NOT NULL
) STRICT;
CREATE INDEX decisions_of_run ON decisions (run);
CREATE TABLE findings (
  run       INTEGER NOT NULL REFERENCES runs (n),
  position  INTEGER NOT NULL,
  code      TEXT NOT NULL,
  severity  TEXT NOT NULL CHECK (severity IN ('note', 'doubt', 'reject')),
  text      TEXT NOT NULL,
  at        TEXT,
  PRIMARY KEY (run, position)
) STRICT, WITHOUT ROWID;
CREATE TABLE sensors (
  id          INTEGER PRIMARY KEY,
  sensor      TEXT NOT NULL,
  instance    TEXT NOT NULL,
  unit        TEXT NOT NULL,
  kind        TEXT NOT NULL CHECK (kind IN ('gauge', 'counter')),
  source      TEXT NOT NULL,
  resolution  REAL NOT NULL,
  UNIQUE (sensor, instance, unit, kind, source, resolution)
) STRICT;
CREATE TABLE summaries (
  run       INTEGER NOT NULL REFERENCES runs (n),
  position  INTEGER NOT NULL,
  sensor    INTEGER NOT NULL REFERENCES sensors (id),
  mean      REAL,
  min       REAL,
  max       REAL,
  p95       REAL,
  first     REAL,
  last      REAL,
  energy_j  REAL,
  steady_mean REAL,
  PRIMARY KEY (run, position)
) STRICT, WITHOUT ROWID;
CREATE TABLE fact_sets (
  id      INTEGER PRIMARY KEY,
  digest  BLOB NOT NULL UNIQUE
) STRICT;
CREATE TABLE facts (
  fact_set  INTEGER NOT NULL REFERENCES fact_sets (id),
  name      TEXT NOT NULL,
  value     TEXT NOT NULL,
  PRIMARY KEY (fact_set, name)
) STRICT, WITHOUT ROWID;
CREATE TABLE series (
  id          INTEGER PRIMARY KEY,
  device      TEXT NOT NULL,
  run         INTEGER UNIQUE REFERENCES runs (n),
  started_ms  INTEGER NOT NULL,
  format      INTEGER NOT NULL
) STRICT;
CREATE INDEX idle_series ON series (device, started_ms) WHERE run IS NULL;
CREATE TABLE series_sensors (
  series    INTEGER NOT NULL REFERENCES series (id),
  position  INTEGER NOT NULL,
  sensor    INTEGER NOT NULL REFERENCES sensors (id),
  PRIMARY KEY (series, position)
) STRICT, WITHOUT ROWID;
CREATE TABLE series_labels (
  series          INTEGER NOT NULL REFERENCES series (id),
  position        INTEGER NOT NULL,
  setting_w       REAL,
  setting         TEXT NOT NULL,
  setting_source  TEXT NOT NULL,
  supply          TEXT NOT NULL,
  PRIMARY KEY (series, position)
) STRICT, WITHOUT ROWID;
CREATE TABLE readings (
  id      INTEGER PRIMARY KEY,
  at_ms   INTEGER NOT NULL,
  sweeps  INTEGER NOT NULL,
  data    BLOB NOT NULL
) STRICT;
CREATE TABLE plans (
  id          INTEGER PRIMARY KEY,
  created_at  TEXT NOT NULL,
  seed        TEXT NOT NULL,
  hard        TEXT NOT NULL,
  said        TEXT NOT NULL
) STRICT;
CREATE TABLE plan_slots (
  plan      INTEGER NOT NULL REFERENCES plans (id),
  position  INTEGER NOT NULL,
  pass      INTEGER NOT NULL,
  device    TEXT NOT NULL,
  workload  TEXT NOT NULL,
  variant   TEXT NOT NULL DEFAULT '',
  supply    TEXT NOT NULL CHECK (supply IN ('mains', 'battery')),
  setting_w REAL,
  setting   TEXT NOT NULL DEFAULT '',
  needs_charge_ratio REAL,
  wait_s    REAL NOT NULL DEFAULT 0,
  PRIMARY KEY (plan, position)
) STRICT, WITHOUT ROWID;
CREATE TABLE schedule_outcomes (
  entry     TEXT PRIMARY KEY,
  due_at    TEXT NOT NULL,
  ended_at  TEXT NOT NULL,
  outcome   TEXT NOT NULL CHECK (outcome IN ('done', 'failed', 'left out')),
  text      TEXT NOT NULL
) STRICT, WITHOUT ROWID;
