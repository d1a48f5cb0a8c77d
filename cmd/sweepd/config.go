package main

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"sweepd/internal/bounded"
	"sweepd/internal/userfile"
	"sweepd/judge"
	"sweepd/report"
)

// config is what the configuration file may say; deploy/sweepd.example.yaml
// shows every key with its default and limits. A zero field means the default.
type config struct {
	Device         string             `yaml:"device"`
	Data           string             `yaml:"data"`
	Listen         string             `yaml:"listen"`
	Hosts          []string           `yaml:"hosts"`
	WebConfigFile  string             `yaml:"web_config_file"`
	TLSSelf        bool               `yaml:"tls_self"`
	Metrics        string             `yaml:"metrics"`
	Interval       span               `yaml:"interval"`
	Idle           string             `yaml:"idle"`
	SettingCommand []string           `yaml:"setting_command"`
	Lower          []string           `yaml:"lower"`
	Prices         map[string]float64 `yaml:"prices"`
	Report         reportWords        `yaml:"report"`
	Thresholds     thresholds         `yaml:"thresholds"`
	Schedule       []scheduled        `yaml:"schedule"`
}

// reportWords is report.Publication as the file names it.
type reportWords struct {
	Title      string         `yaml:"title"`
	Credit     string         `yaml:"credit"`
	Conditions string         `yaml:"conditions"`
	Styles     map[string]int `yaml:"styles"`
}

func (w reportWords) publication() report.Publication { return report.Publication(w) }

// thresholds are judge.Thresholds as the file names them.
type thresholds struct {
	TooShort         span    `yaml:"too_short"`
	Gap              span    `yaml:"gap"`
	Gone             span    `yaml:"gone"`
	Settle           span    `yaml:"settle"`
	ClockStep        span    `yaml:"clock_step"`
	SettingTolerance float64 `yaml:"setting_tolerance"`
	HotStart         float64 `yaml:"hot_start"`
	BusyStart        float64 `yaml:"busy_start"`
	Reserve          float64 `yaml:"reserve"`
	WeakCharger      float64 `yaml:"weak_charger"`
	Disobeyed        float64 `yaml:"disobeyed"`
	TemperatureLimit float64 `yaml:"temperature_limit"`
	ThrottledFall    float64 `yaml:"throttled_fall"`
	Stale            span    `yaml:"stale"`
	FramesShort      float64 `yaml:"frames_short"`
}

func (t thresholds) forJudge() judge.Thresholds {
	return judge.Thresholds{
		TooShort: t.TooShort.Duration, Gap: t.Gap.Duration, Gone: t.Gone.Duration, Settle: t.Settle.Duration,
		ClockStep: t.ClockStep.Duration, SettingTolerance: t.SettingTolerance, HotStart: t.HotStart, BusyStart: t.BusyStart,
		Reserve: t.Reserve, WeakCharger: t.WeakCharger, Disobeyed: t.Disobeyed, TemperatureLimit: t.TemperatureLimit,
		ThrottledFall: t.ThrottledFall, Stale: t.Stale.Duration, FramesShort: t.FramesShort,
	}
}

// What metrics: may say: who is answered at /metrics.
const (
	metricsOpen   = "open"   // every machine
	metricsClosed = "closed" // this device, and phones that were paired
)

// span is a time such as 250ms, 1.5s or 2m.
type span struct{ time.Duration }

var _ yaml.NodeUnmarshaler = (*span)(nil)

// noTime is the error of a text that is no time.
type noTime struct{ *yaml.SyntaxError }

// UnmarshalYAML keeps the place of what is no time, which the library loses.
func (s *span) UnmarshalYAML(node ast.Node) (err error) {
	if s.Duration, err = time.ParseDuration(node.GetToken().Value); err != nil {
		return &noTime{&yaml.SyntaxError{Message: fmt.Sprintf("%q is no time such as 250ms, 1.5s or 2m", node.GetToken().Value), Token: node.GetToken()}}
	}
	return nil
}

// loadConfig reads the file at path; an empty path gives the defaults. Errors
// name file, line and column.
func loadConfig(path string) (config, error) {
	var c config
	if path == "" {
		return c, nil
	}
	text, err := userfile.Read(context.Background(), path, userfile.Small)
	if err != nil {
		return c, fmt.Errorf("configuration: %w", err)
	}
	if err := parseConfig(text, &c); err != nil {
		return config{}, fmt.Errorf("configuration %s, %w", path, err)
	}
	return c, nil
}

func parseConfig(text []byte, c *config) error {
	if err := bounded.DecodeYAML(text, c); err != nil {
		return placeError(text, err)
	}
	return checkConfig(text, c)
}

// keysBeside lists what could stand where an unknown key stands: the keys of
// the file, or, where it is indented, those of the section.
func keysBeside(text []byte, at *token.Position) []string {
	if at.Column == 1 {
		return yamlKeys(reflect.TypeFor[config]())
	}
	section, _, _ := strings.Cut(keyAt(string(text), at.Line), ".")
	switch section {
	case "schedule":
		return yamlKeys(reflect.TypeFor[scheduled]())
	case "report":
		return yamlKeys(reflect.TypeFor[reportWords]())
	}
	return yamlKeys(reflect.TypeFor[thresholds]())
}

func yamlKeys(t reflect.Type) []string {
	var keys []string
	for i := range t.NumField() {
		keys = append(keys, t.Field(i).Tag.Get("yaml"))
	}
	slices.Sort(keys)
	return keys
}
