package testday

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
)

const table = "device,workload,supply,setting_w,started_at,duration_s,seconds\n" +
	"unit-oak,tile-sort,mains,15,2026-05-04T09:00:00Z,60,10\nunit-oak,tile-sort,mains,20,2026-05-04T09:05:00Z,60,8\n"

func TestImportAndExport(t *testing.T) {
	s := openStore(t)
	file := writeFile(t, "runs.csv", table)
	done, lines := 0, 0
	x, err := Import(t.Context(), s, ImportRequest{File: file, Lower: []string{"seconds"}}, func(d, n int) { done, lines = d, n })
	if err != nil || x.Added != 2 || x.Added+x.Known != 2 || done != 2 || lines != 3 {
		t.Errorf("%+v, %v, %d of %d", x, err, done, lines)
	}
	if x, err = Import(t.Context(), s, ImportRequest{File: file}, func(int, int) {}); err != nil || x.Known != 2 || x.Added+x.Known != 2 {
		t.Errorf("again: %+v, %v", x, err)
	}
	if list, err := s.Runs(t.Context(), store.Filter{}); err != nil || list[1].Results["seconds"].Better != run.Lower {
		t.Errorf("%+v, %v", list, err)
	}
	if _, err := Import(t.Context(), s, ImportRequest{File: "/no/such.csv"}, func(int, int) {}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	out := filepath.Join(t.TempDir(), "out.csv")
	if err := Export(t.Context(), s, store.Filter{}, CSV, out); err != nil {
		t.Fatal(err)
	}
	other := openStore(t)
	if x, err := Import(t.Context(), other, ImportRequest{File: out}, func(int, int) {}); err != nil || x.Added != 2 {
		t.Errorf("taken back: %+v, %v", x, err)
	}
	plain := filepath.Join(t.TempDir(), "plain") // what this user's umask lets others do
	if err := os.WriteFile(plain, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	usual, err := os.Stat(plain)
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(out); err != nil || info.Mode().Perm()&0o444 != usual.Mode().Perm()&0o444 {
		t.Errorf("others can read it otherwise than a plain file: %v, %v; want %v", info, err, usual.Mode())
	}
	var text bytes.Buffer
	if err := WriteExport(t.Context(), s, store.Filter{Device: "unit-oak"}, JSON, &text); err != nil {
		t.Fatal(err)
	}
	var list []map[string]any
	if err := json.Unmarshal(text.Bytes(), &list); err != nil || len(list) != 2 || list[0]["facts"] == nil || list[0]["discharge"] == nil || !strings.HasPrefix(text.String(), "[\n  {\n    \"id\"") {
		t.Errorf("%v\n%s", err, &text)
	}
	text.Reset()
	if err := WriteExport(t.Context(), s, store.Filter{Device: "unit-elm"}, JSON, &text); err != nil || text.String() != "[]\n" {
		t.Errorf("no runs: %q, %v", &text, err)
	}
	failsWhereItsStoreDoes(t, s, []string{"Runs"}, func(s store.Store) error { return WriteExport(t.Context(), s, store.Filter{}, CSV, io.Discard) })
	failsWhereItsStoreDoes(t, s, []string{"Records"}, func(s store.Store) error { return WriteExport(t.Context(), s, store.Filter{}, JSON, io.Discard) })
}

// A file is written whole, or what was there stays and nothing is left beside it.
func TestExportIsWholeOrNothing(t *testing.T) {
	s := openStore(t)
	path := writeFile(t, "day.csv", "before")
	err := Export(t.Context(), &failing{s, "Runs"}, store.Filter{}, CSV, path)
	if !errors.Is(err, errDisk) || !strings.HasPrefix(err.Error(), "write "+path+": ") {
		t.Errorf("%v", err)
	}
	entries, _ := os.ReadDir(filepath.Dir(path))
	if text, _ := os.ReadFile(path); string(text) != "before" || len(entries) != 1 {
		t.Errorf("%q, beside it %v", text, entries)
	}
	if err := Export(t.Context(), s, store.Filter{}, CSV, filepath.Join(path, "no", "folder.csv")); err == nil || !strings.HasPrefix(err.Error(), "write ") {
		t.Errorf("no folder: %v", err)
	}
	if err := Export(t.Context(), s, store.Filter{}, CSV, filepath.Dir(path)); err == nil {
		t.Error("a folder was written over")
	}
	if got := ExportPath("/x/{date}/day-{date}.csv", time.Date(2026, 5, 4, 23, 0, 0, 0, time.UTC)); got != "/x/2026-05-04/day-2026-05-04.csv" {
		t.Errorf("path %s", got)
	}
}

func TestMerge(t *testing.T) {
	here := openStore(t)
	dir := t.TempDir()
	there, err := sqlite.Open(dir, sqlite.Options{Unsynced: true})
	if err != nil {
		t.Fatal(err)
	}
	day(t, there)
	keepRun(t, there, run.Run{ID: "019c0000-0001", Note: "there"})
	keepRun(t, here, run.Run{ID: "019c0000-0001", Note: "here"})
	if err := there.BeginRun(t.Context(), run.Record{Run: run.Run{ID: "019c0000-0002", State: run.Recording, StartedAt: run.Stamp(morning)}}); err != nil {
		t.Fatal(err)
	}
	if err := there.Close(); err != nil {
		t.Fatal(err)
	}
	told := 0
	m, err := Merge(t.Context(), here, dir, nil, func(done, total int) { told = done })
	if err != nil || m.Added != 18 || m.Known != 0 || len(m.Recording) != 1 || len(m.Conflicts) != 1 || m.Conflicts[0].Run != "019c0000-0001" || len(m.Conflicts[0].Differences) == 0 || told == 0 {
		t.Errorf("%+v, %v, told %d", m, err, told)
	}
	if err := m.Failed(); err == nil || !strings.HasPrefix(err.Error(), "1 run of the other file could not be taken") {
		t.Errorf("a conflict: %v", err)
	}
	m.Conflicts = append(m.Conflicts, Conflict{})
	if err := m.Failed(); err == nil || !strings.HasPrefix(err.Error(), "2 runs of the other file") {
		t.Errorf("two conflicts: %v", err)
	}
	if m, err = Merge(t.Context(), here, dir, nil, func(int, int) {}); err != nil || m.Added != 0 || m.Known != 18 {
		t.Errorf("again: %+v, %v", m, err)
	}
	if err := (Merged{}).Failed(); err != nil {
		t.Errorf("nothing failed: %v", err)
	}
	if _, err := Merge(t.Context(), here, filepath.Join(dir, "none"), nil, func(int, int) {}); err == nil {
		t.Error("no other file")
	}
}
