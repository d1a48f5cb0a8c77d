package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store/sqlite"
)

// The example's schedule, with its marks of a remark taken away, is a good one.
func TestExampleSchedule(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "deploy", "sweepd.example.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	block := regexp.MustCompile(`(?s)# schedule:\n.*?\n\n`).FindString(string(text))
	var c config
	if err := parseConfig([]byte(strings.ReplaceAll("\n"+block, "\n# ", "\n")), &c); err != nil || len(c.Schedule) != 3 {
		t.Fatalf("%+v, %v", c.Schedule, err)
	}
}

func TestScheduleRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"- {do: dance, when: '@daily'}":                                                 `line 2, column 8: schedule[0].do: "dance" is none of upkeep, idle_drain, export`,
		"- {do: upkeep, when: sometimes}":                                               `line 2, column 22: schedule[0].when: "sometimes" is neither`,
		"- {do: upkeep}":                                                                `schedule[0].when`,
		"- {do: upkeep, when: '0 0 30 2 *'}":                                            "is never due",
		"- {do: upkeep, when: '@daily', every: 5}":                                      `unknown key "every": the keys there are as, do, for, keep_idle`,
		"- {do: upkeep, when: '@daily', for: 2h}":                                       "for belongs to idle_drain",
		"- {do: idle_drain, when: '@daily', for: 2s}":                                   "2s is not between",
		"- {do: export, when: '@daily', as: xml, out: x}":                               `schedule[0].as: "xml"`,
		"- {do: export, when: '@daily', as: csv}":                                       "needs the path of a file",
		"- {do: upkeep, when: '@daily'}\n- {do: upkeep, when: '@hourly'}":               `schedule[1].do: two entries are called "upkeep"`,
		"- {do: upkeep, when: '@daily'}\n- {do: upkeep, name: upkeep, when: '@hourly'}": "two entries",
		"- {do: upkeep, when: '@daily', late: 1ms}":                                     "schedule[0].late",
	} {
		var c config
		if err := parseConfig([]byte("schedule:\n"+text), &c); err == nil || !strings.Contains(err.Error(), want) || !strings.HasPrefix(err.Error(), "line ") {
			t.Errorf("%s: got %v, want %q", text, err, want)
		}
	}
}

func TestScheduleListing(t *testing.T) {
	data := alone(t)
	file := filepath.Join(t.TempDir(), "sweepd.yaml")
	if err := os.WriteFile(file, []byte("schedule:\n- {do: upkeep, when: '30 3 * * *'}\n- {do: export, name: nightly, when: '@every 6h', as: csv, out: /tmp/x}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out := must(t, "schedule", "--config", file); !strings.Contains(out, "30 3 * * *") || !strings.Contains(out, "nightly") || !strings.Contains(out, "@every 10s") {
		t.Errorf("before any data:\n%s", out)
	}
	s, err := sqlite.Open(data, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	due := run.Stamp(time.Date(2026, 5, 4, 3, 30, 0, 0, time.UTC))
	if err := s.KeepOutcome(t.Context(), schedule.Outcome{Entry: "upkeep", DueAt: due, EndedAt: due, Status: schedule.StatusFailed, Text: "the disk is full"}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if out := must(t, "schedule", "--config", file); !strings.Contains(out, "failed") || !strings.Contains(out, "upkeep: the disk is full") {
		t.Errorf("after a failure:\n%s", out)
	}
	var list []map[string]any
	if err := json.Unmarshal([]byte(must(t, "schedule", "--config", file, "--json")), &list); err != nil || len(list) != 3 {
		t.Fatalf("%v, %v", list, err)
	}
	for _, e := range list {
		for _, key := range []string{"entry", "do", "when", "next_at", "last"} {
			if _, there := e[key]; !there {
				t.Errorf("%v lacks %s", e, key)
			}
		}
	}
	if last := list[1]["last"].(map[string]any); last["outcome"] != "failed" || last["due_at"] != "2026-05-04T03:30:00.000Z" || list[2]["last"] != nil {
		t.Errorf("%v", list)
	}
}
