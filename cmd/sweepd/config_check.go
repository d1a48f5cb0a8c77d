package main

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"net"
	"regexp"
	"slices"
	"time"

	"github.com/goccy/go-yaml"

	"sweepd/agent"
	"sweepd/run"
	"sweepd/schedule"
)

// checkConfig refuses values out of range. The first bad one is named with its
// line and column.
func checkConfig(text []byte, c *config) error {
	published := c.Report.publication()
	wrong, unpublished := published.Check()
	checks := []struct {
		key string
		err error
	}{
		{"device", optional(c.Device, func() error { return run.CheckLabel("device", c.Device) })},
		{"listen", optional(c.Listen, func() error { _, _, err := net.SplitHostPort(c.Listen); return err })},
		{"hosts", each(c.Hosts, hostName)},
		{"metrics", optional(c.Metrics, func() error { return oneOf(c.Metrics, metricsOpen, metricsClosed) })},
		{"tls_self", ownOrGiven(c)},
		{"interval", within(c.Interval, agent.MinInterval, agent.MaxInterval)},
		{"idle", optional(c.Idle, func() error { _, err := schedule.ParseIdleSweeps(c.Idle); return err })},
		{"thresholds.too_short", within(c.Thresholds.TooShort, time.Millisecond, time.Hour)},
		{"thresholds.gap", within(c.Thresholds.Gap, time.Millisecond, time.Hour)},
		{"thresholds.gone", within(c.Thresholds.Gone, time.Millisecond, time.Hour)},
		{"thresholds.settle", within(c.Thresholds.Settle, time.Millisecond, time.Hour)},
		{"thresholds.clock_step", within(c.Thresholds.ClockStep, time.Millisecond, time.Hour)},
		{"thresholds.setting_tolerance", checkShare(c.Thresholds.SettingTolerance)},
		{"thresholds.hot_start", upTo(c.Thresholds.HotStart, 100, "K")},
		{"thresholds.busy_start", checkShare(c.Thresholds.BusyStart)},
		{"thresholds.reserve", checkShare(c.Thresholds.Reserve)},
		{"thresholds.weak_charger", upTo(c.Thresholds.WeakCharger, 1000, "W")},
		{"thresholds.disobeyed", checkShare(c.Thresholds.Disobeyed)},
		{"thresholds.temperature_limit", upTo(c.Thresholds.TemperatureLimit, 150, "°C")},
		{"thresholds.throttled_fall", checkShare(c.Thresholds.ThrottledFall)},
		{"thresholds.stale", within(c.Thresholds.Stale, time.Millisecond, time.Hour)},
		{"thresholds.frames_short", checkShare(c.Thresholds.FramesShort)},
		{"lower", each(c.Lower, func(name string) error { return run.CheckLabel("name of a result", name) })},
		{"setting_command", command(c.SettingCommand)},
		{"prices", prices(c.Prices)},
		{"report." + wrong, unpublished},
	}
	for _, check := range checks {
		if check.err != nil {
			return fmt.Errorf("%s: %s: %w", placeOf(text, check.key), check.key, check.err)
		}
	}
	if err := checkSchedule(text, c.Schedule); err != nil {
		return err
	}
	return checkHandsOff(text, c)
}

func ownOrGiven(c *config) error {
	if c.TLSSelf && c.WebConfigFile != "" {
		return errors.New("a certificate of the device's own goes without web_config_file, which may name another: choose one")
	}
	return nil
}

// nowhere is the place of what the file does not have.
const nowhere = "somewhere"

// placeOf is the line and column of a key's value.
func placeOf(text []byte, key string) string {
	path, err := yaml.PathString("$." + key)
	if err != nil {
		return nowhere
	}
	node, err := path.ReadNode(bytes.NewReader(text))
	if err != nil || node.GetToken() == nil {
		return nowhere
	}
	at := node.GetToken().Position
	return fmt.Sprintf("line %d, column %d", at.Line, at.Column)
}

func optional(text string, check func() error) error {
	if text == "" {
		return nil
	}
	return check()
}

func within(s span, low, high time.Duration) error {
	if d := s.Duration; d != 0 && (d < low || d > high) {
		return fmt.Errorf("%v is not between %v and %v", d, low, high)
	}
	return nil
}

func checkShare(v float64) error {
	if math.IsNaN(v) || v < 0 || v > 1 {
		return fmt.Errorf("%v is not a share between 0 and 1", v)
	}
	return nil
}

func upTo(v, most float64, unit string) error {
	if math.IsNaN(v) || v < 0 || v > most {
		return fmt.Errorf("%v %s is not between 0 and %v", v, unit, most)
	}
	return nil
}

func each(list []string, check func(string) error) error {
	for _, s := range list {
		if err := check(s); err != nil {
			return err
		}
	}
	return nil
}

var isHostName = regexp.MustCompile(`^[A-Za-z0-9_]([A-Za-z0-9_.-]{0,252})$`)

func hostName(name string) error {
	if !isHostName.MatchString(name) {
		return fmt.Errorf("%q is no host name such as unit-oak.lab.example: leave scheme and port away", run.Shorten(name))
	}
	return nil
}

func command(words []string) error {
	if len(words) > 0 && words[0] == "" {
		return fmt.Errorf("the command's first word is empty: give a program and its arguments as a list")
	}
	return nil
}

func prices(p map[string]float64) error {
	for _, device := range slices.Sorted(maps.Keys(p)) {
		if v := p[device]; !(v > 0) || math.IsInf(v, 0) {
			return fmt.Errorf("the price of %s, %v, is not above 0", device, v)
		}
	}
	return nil
}
