package main

import (
	"fmt"
	"strings"
	"time"

	"sweepd/run"
	"sweepd/schedule"
)

// scheduled is an entry of the schedule as the file has it.
type scheduled struct {
	Do       string `yaml:"do"`   // upkeep, idle_drain or export
	Name     string `yaml:"name"` // Do unless given
	When     string `yaml:"when"`
	Late     span   `yaml:"late"`
	KeepIdle span   `yaml:"keep_idle"` // of upkeep
	For      span   `yaml:"for"`       // of idle_drain
	As       string `yaml:"as"`        // of export
	Out      string `yaml:"out"`       // of export
}

// What an entry may do.
const (
	doUpkeep    = "upkeep"
	doIdleDrain = "idle_drain"
	doExport    = "export"
)

// defaultDrain is how long an idle-drain run lasts: long enough for a battery to
// lose some of the steps that it is reported in (common practice, no source).
const defaultDrain = time.Hour

func (s scheduled) name() string {
	if s.Name != "" {
		return s.Name
	}
	return s.Do
}

// check tells what is wrong, and with which key.
func (s scheduled) check() (key string, err error) {
	only := func(key, do string, given bool) error {
		if given && s.Do != do {
			return fmt.Errorf("%s belongs to %s", key, do)
		}
		return nil
	}
	for _, c := range []struct {
		key string
		err error
	}{
		{"do", oneOf(s.Do, doUpkeep, doIdleDrain, doExport)},
		{"name", optional(s.Name, func() error { return run.CheckLabel("name", s.Name) })},
		{"when", func() error { _, err := schedule.ParseSchedule(s.When); return err }()},
		{"late", within(s.Late, time.Second, 7*24*time.Hour)},
		{"keep_idle", only("keep_idle", doUpkeep, s.KeepIdle.Duration != 0)},
		{"keep_idle", within(s.KeepIdle, time.Hour, 100*365*24*time.Hour)},
		{"for", only("for", doIdleDrain, s.For.Duration != 0)},
		{"for", within(s.For, time.Minute, 24*time.Hour)},
		{"as", only("as", doExport, s.As != "")},
		{"out", only("out", doExport, s.Out != "")},
	} {
		if c.err != nil {
			return c.key, c.err
		}
	}
	if s.Do == doExport {
		if err := oneOf(s.As, "csv", "json"); err != nil {
			return "as", err
		}
		if s.Out == "" || s.Out == "-" {
			return "out", fmt.Errorf("an export needs the path of a file")
		}
	}
	return "", nil
}

func oneOf(text string, words ...string) error {
	for _, w := range words {
		if text == w {
			return nil
		}
	}
	return fmt.Errorf("%q is none of %s", text, strings.Join(words, ", "))
}

// checkSchedule names the first bad entry with its place.
func checkSchedule(text []byte, list []scheduled) error {
	seen := map[string]bool{}
	for i, s := range list {
		key, err := s.check()
		if err == nil && seen[s.name()] {
			key, err = "do", fmt.Errorf("two entries are called %q: give one a name", s.name())
		}
		if err != nil {
			entry := fmt.Sprintf("schedule[%d]", i)
			place := placeOf(text, entry+"."+key)
			if place == nowhere {
				place = placeOf(text, entry)
			}
			return fmt.Errorf("%s: %s.%s: %w", place, entry, key, err)
		}
		seen[s.name()] = true
	}
	return nil
}
