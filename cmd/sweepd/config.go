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
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"sweepd/internal/bounded"
	"sweepd/internal/userfile"
	"sweepd/judge"
	"sweepd/report"
)

// config is what the configuration file may say; deploy/sweepd.example.yaml
// shows every key with its default and limits. A zero field means the default.
type config struct {
	Device         string              `yaml:"device"`
	Data           string              `yaml:"data"`
	Listen         string              `yaml:"listen"`
	Hosts          []string            `yaml:"hosts"`
	WebConfigFile  string              `yaml:"web_config_file"`
	TLSSelf        bool                `yaml:"tls_self"`
	Metrics        string              `yaml:"metrics"`
	Interval       span                `yaml:"interval"`
	Idle           string              `yaml:"idle"`
	SettingCommand []string            `yaml:"setting_command"`
	Lower          []string            `yaml:"lower"`
	Prices         map[string]float64  `yaml:"prices"`
	Report         reportWords         `yaml:"report"`
	Thresholds     thresholds          `yaml:"thresholds"`
	Schedule       []scheduled         `yaml:"schedule"`
	HandsOff       *handsOff           `yaml:"hands_off"`
	Workloads      map[string]workload `yaml:"workloads"`
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

// keysBeside lists what could stand where an unknown key stands.
func keysBeside(text []byte, at *token.Position) []string {
	file, err := parser.ParseBytes(text, 0)
	if err != nil || len(file.Docs) == 0 {
		return yamlKeys(reflect.TypeFor[config]())
	}
	found := keyFinder{at: at}
	ast.Walk(&found, file.Docs[0])
	path := strings.FieldsFunc(strings.TrimPrefix(found.path, "$"), func(r rune) bool { return strings.ContainsRune(".[]", r) })
	t := reflect.TypeFor[config]()
	for _, key := range path[:max(len(path)-1, 0)] {
		for t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		switch t.Kind() {
		case reflect.Struct:
			for i := range t.NumField() {
				if t.Field(i).Tag.Get("yaml") == key {
					t = t.Field(i).Type
					break
				}
			}
		case reflect.Map, reflect.Slice:
			t = t.Elem()
		}
	}
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return nil
	}
	return yamlKeys(t)
}

// keyFinder finds the path of the key at a place.
type keyFinder struct {
	at   *token.Position
	path string
}

func (f *keyFinder) Visit(n ast.Node) ast.Visitor {
	if v, ok := n.(*ast.MappingValueNode); ok {
		if p := v.Key.GetToken().Position; p.Line == f.at.Line && p.Column == f.at.Column {
			f.path = v.Value.GetPath()
		}
	}
	return f
}

func yamlKeys(t reflect.Type) []string {
	var keys []string
	for i := range t.NumField() {
		keys = append(keys, t.Field(i).Tag.Get("yaml"))
	}
	slices.Sort(keys)
	return keys
}
