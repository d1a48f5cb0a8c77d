package judge

import (
	"fmt"
	"math"
	"slices"
	"time"

	"sweepd/run"
)

// settingCheck finds a setting that changed during the run, and a declared one
// that the system contradicts.
type settingCheck struct {
	index *SensorIndex
	th    Thresholds

	started bool
	active  run.SourcedSetting // at the first sweep
	read    run.SourcedSetting // once it has settled
	profile string

	change   string
	changeAt run.Instant
	after    time.Duration
}

func (c *settingCheck) observe(s *run.Sweep, t time.Duration) {
	read, profile := c.index.SettingRead(s.Values), c.index.profileName(s.Values)
	if !c.started {
		c.started, c.active, c.read, c.profile = true, s.Setting, read, profile
		return
	}
	if c.change != "" {
		return
	}
	if stated(s.Setting) && stated(c.active) && s.Setting.Setting != c.active.Setting {
		c.changed(s, t, fmt.Sprintf("the %s setting changed from %s to %s", s.Setting.Source, c.active, s.Setting))
		return
	}
	c.observeRead(s, t, read, profile)
}

// stated tells whether somebody said the setting, rather than the kernel's files.
func stated(s run.SourcedSetting) bool { return s.Source == run.Declared || s.Source == run.Command }

// observeRead compares what the system reports, each source with itself: one
// that falls silent lets a less trusted one speak, which changes nothing. What
// changes while the sources settle was late, not changed.
func (c *settingCheck) observeRead(s *run.Sweep, t time.Duration, read run.SourcedSetting, profile string) {
	settling := t <= c.th.Settle
	if read.Known() && read != c.read {
		switch {
		case settling || !c.read.Known():
			c.read = read
		case read.Source == c.read.Source:
			c.changed(s, t, fmt.Sprintf("the setting that the system reports changed from %s (%s) to %s (%s)", c.read, c.read.Source, read, read.Source))
			return
		}
	}
	if profile != "" && profile != c.profile {
		if settling || c.profile == "" {
			c.profile = profile
		} else {
			c.changed(s, t, fmt.Sprintf("the platform profile changed from %s to %s", c.profile, profile))
		}
	}
}

func (c *settingCheck) changed(s *run.Sweep, t time.Duration, text string) {
	c.change, c.changeAt, c.after = text, s.At, t
}

// describe sets the settings that the run started with.
func (c *settingCheck) describe(d *run.Record) {
	if !c.started {
		return
	}
	if !stated(d.Setting) && !d.HasCorrected(run.FieldSetting) && c.read.Known() {
		d.Setting = c.read
	}
	commanded := d.SettingRead != nil && d.SettingRead.Source == run.Command
	if c.read.Known() && !commanded {
		read := c.read
		d.SettingRead = &read
	}
	c.active = d.Setting
	if commanded {
		c.read = *d.SettingRead
	}
}

func (c *settingCheck) findings() []run.Finding {
	var found []run.Finding
	if c.change != "" {
		found = append(found, run.Finding{Code: run.SettingChanged, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
			"%s %.1f s after the start: the result belongs to neither", c.change, c.after.Seconds()), At: c.changeAt.Wall})
	}
	return append(found, c.disagrees()...)
}

// comparable tells whether what the system reports says whether the declared setting is
// kept.
func (c *settingCheck) comparable() bool {
	_, declared := c.active.Watts()
	_, read := c.read.Watts()
	return declared && read || slices.Contains(run.PlatformProfiles, c.active.Name()) && c.profile != ""
}

// disagreement compares a declared setting with what the system reports, where
// the two can be compared: watts with watts, a profile's name with the profile. Both are
// empty where nothing speaks against it.
func (c *settingCheck) disagreement() (declared, reported string) {
	if c.active.Source != run.Declared {
		return "", ""
	}
	w, inWatts := c.active.Watts()
	if read, ok := c.read.Watts(); inWatts && ok {
		if math.Abs(w-read) > settingTolerance(w, c.th) {
			return c.active.String(), fmt.Sprintf("the system reports %s (%s)", c.read, c.read.Source)
		}
	}
	if name := c.active.Name(); slices.Contains(run.PlatformProfiles, name) && c.profile != "" && name != c.profile {
		return "the profile " + name, "the platform profile is " + c.profile
	}
	return "", ""
}

// settingTolerance is by how many watts a setting may be read otherwise than it is.
func settingTolerance(w float64, th Thresholds) float64 {
	return math.Max(0.5, th.SettingTolerance*w) + 1e-9
}

// disagrees is the finding of a run whose declared setting the system contradicts.
func (c *settingCheck) disagrees() []run.Finding {
	declared, reported := c.disagreement()
	if reported == "" {
		return nil
	}
	return []run.Finding{{Code: run.SettingDisagrees, Severity: run.SeverityDoubt, Text: fmt.Sprintf("%s was declared, but %s", declared, reported)}}
}
