package main

import (
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"
)

func TestExampleConfiguration(t *testing.T) {
	path := filepath.Join("..", "..", "deploy", "sweepd.example.yaml")
	c, err := loadConfig(path)
	if err != nil {
		t.Fatal(err)
	}
	if c.Device != "unit-oak" || c.Interval.Duration != 250*time.Millisecond || c.Idle != "@every 10s" || c.Prices["unit-elm"] != 649 || c.Report.Credit != "Harbour Lab" || c.Report.Styles["unit-oak"] != 2 ||
		c.Thresholds.Settle.Duration != 1500*time.Millisecond || c.Thresholds.SettingTolerance != 0.02 || len(c.Lower) != 2 {
		t.Errorf("got %+v", c)
	}
	// Every key is documented, those without a default in a comment.
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, keys := range [][]string{yamlKeys(reflect.TypeFor[config]()), yamlKeys(reflect.TypeFor[thresholds]()), yamlKeys(reflect.TypeFor[reportWords]())} {
		for _, key := range keys {
			if !regexp.MustCompile(`(?m)^ *(# )?` + key + `:`).Match(text) {
				t.Errorf("%s is not in the example", key)
			}
		}
	}
}

func TestConfigurationRefuses(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"unknown key":         {"device: unit-oak\nlsiten: 1.2.3.4:5\n", `line 2, column 1: unknown key "lsiten": the keys there are`},
		"unknown threshold":   {"thresholds:\n  too_shrt: 5s\n", `line 2, column 3: unknown key "too_shrt": the keys there are busy_start, clock_step`},
		"twice":               {"device: a\ndevice: b\n", `line 2, column 1: key "device" is there twice`},
		"not YAML":            {"device: [a\n", "line 1, column"},
		"binary":              {"\x00\x01\x02\xff", "configuration"},
		"a list":              {"- a\n- b\n", "line 1, column 1: keys with values are wanted there"},
		"interval too short":  {"interval: 10ms\n", "line 1, column 11: interval: 10ms is not between 100ms and 1m0s"},
		"interval no time":    {"interval: often\n", `line 1, column 11: interval: "often" is no time such as 250ms`},
		"time without a unit": {"device: a\nthresholds:\n  gone: 3s\n  gap: 5\n", `line 4, column 8: thresholds.gap: "5" is no time`},
		"word for a number":   {"thresholds:\n  hot_start: warm\n", `line 2, column 14: thresholds.hot_start: "warm" is not what is wanted there: give a number`},
		"price that is none":  {"prices:\n  unit-oak: cheap\n", `line 2, column 13: prices.unit-oak: "cheap"`},
		"text for a list":     {"lower: load\n", "line 1, column 8: lower: a list is wanted there, such as [one, two]"},
		"indent too far":      {"device: a\n  listen: b\n", "begin keys of one level in the same column"},
		"indent too little":   {"thresholds:\n  gap: 5s\n stale: 4s\n", "line 3, column 2: the file cannot be read as YAML from there on"},
		"indent by tab":       {"thresholds:\n\tgap: 5s\n", "line 2, column 1: the file cannot be read as YAML"},
		"idle too rare":       {"listen: a:1\nidle: '@daily'\n", "line 2, column 7: idle:"},
		"listen without port": {"listen: localhost\n", "line 1, column 9: listen:"},
		"share of 3":          {"thresholds:\n  setting_tolerance: 3\n", "line 2, column 22: thresholds.setting_tolerance: 3 is not a share"},
		"negative gap":        {"thresholds:\n  gap: -1s\n", "line 2, column 8"},
		"price of 0":          {"prices:\n  unit-oak: 0\n", "the price of unit-oak"},
		"unknown in report":   {"report:\n  credits: me\n", `line 2, column 3: unknown key "credits": the keys there are conditions, credit, styles, title`},
		"credit too long":     {"report:\n  credit: " + strings.Repeat("x", 201) + "\n", "line 2, column 11: report.credit: credit has 201 bytes: at most 200"},
		"title on 2 lines":    {"report:\n  title: \"a\\nb\"\n", "line 2, column 10: report.title: title"},
		"style 0":             {"report:\n  styles: {unit-oak: 0}\n", "report.styles: the style of unit-oak, 0, is not between 1 and 36"},
		"one style for two":   {"report:\n  styles: {unit-oak: 2, unit-elm: 2}\n", "report.styles: unit-elm and unit-oak have the same style, 2"},
		"a colour's name":     {"report:\n  styles: {unit-oak: blue}\n", `report.styles: "blue" is not what is wanted there: give a whole number`},
		"device on 2 lines":   {"device: \"a\\nb\"\n", "line 1, column 9: device:"},
		"a host with a port":  {"hosts: ['unit-oak:9745']\n", "line 1, column 8: hosts:"},
		"a URL for a host":    {"hosts: ['http://unit-oak']\n", "line 1, column 8: hosts:"},
		"empty lower":         {"lower: ['']\n", "line 1, column 8: lower:"},
		"command of nothing":  {"setting_command: ['']\n", "line 1, column 18: setting_command:"},
	} {
		path := filepath.Join(t.TempDir(), "sweepd.yaml")
		if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := loadConfig(path)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: got %v\nwant %q", name, err, c.want)
		}
	}
}

func TestEmptyConfigurationIsFine(t *testing.T) {
	for _, text := range []string{"", "# nothing yet\n", "---\n"} {
		path := filepath.Join(t.TempDir(), "sweepd.yaml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if c, err := loadConfig(path); err != nil || !reflect.DeepEqual(c, config{}) {
			t.Errorf("%q: got %+v, %v", text, c, err)
		}
	}
}

func TestDataDir(t *testing.T) {
	env := map[string]string{"HOME": "/home/u"}
	a := &app{getenv: func(name string) string { return env[name] }}
	if got := a.dataDir(config{Data: "/from/config"}); got != "/from/config" {
		t.Errorf("configuration: %s", got)
	}
	env["SWEEPD_DATA"] = "/from/env"
	if got := a.dataDir(config{Data: "/from/config"}); got != "/from/env" {
		t.Errorf("environment goes before the configuration: %s", got)
	}
	a.data = "/from/flag"
	if got := a.dataDir(config{Data: "/from/config"}); got != "/from/flag" {
		t.Errorf("flag goes before the environment: %s", got)
	}
}
