// Package sqlite is a store.Store in one SQLite file, and the only package that speaks
// SQL.
//
// The tables and views are documented in schema.sql and meant to be read with
// the sqlite3 shell; readings are packed, see pack.go. Words: a series is a
// chain of packed sweeps, of one run or of a stretch of idle time.
//
// Durability. The file is in WAL mode. What any call has committed survives
// the death of the process. A power cut loses no run, result or decision,
// because those commits are synced; of readings it loses at most the last 30
// seconds, because Append syncs at least that often.
//
// Nothing is stored in a file that is not at its path any more, see CheckPlace, and no
// file is opened with the write-ahead log of another one, see ErrForeignLog.
//
// Several processes may use one file: writing waits for a lock (at most 10 s; each
// slice of an import or merge a minute), reading never waits and never makes a writer
// wait. Only one agent may record, see LockAgent.
package sqlite
