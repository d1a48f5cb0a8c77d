package testday

import (
	"cmp"
	"context"
	"fmt"
	"strings"

	"sweepd/run"
)

// What declares a setting, and stops a run.
const (
	ByStop    = "sweepd run stop"
	BySetting = "sweepd setting"
	ByStart   = "sweepd run start"
	ByWatch   = "sweepd run watch"
	ByPlan    = "the plan" // by a run of it
	ByPlanRun = "sweepd plan run"
	ByAPI     = "the API"
)

// ParseSetting reads a setting as people type it.
func ParseSetting(text string) (run.Setting, error) {
	if list := run.SeveralSettings(text); list != nil && !strings.Contains(text, "/") { // which names like 15/25 have
		return run.Setting{}, requestError(fmt.Errorf("setting %q looks like several: give one, such as %sW", run.Shorten(text), list[0]))
	}
	s, err := run.ParseSetting(text)
	if err == nil && s.Name() != "" {
		err = run.CheckLabel("setting", s.Name())
	}
	return s, requestError(err)
}

// Declare declares the active setting, as it is typed; an empty text takes the declaration
// back. by says what declares it; empty means ByAPI.
func Declare(ctx context.Context, a Agent, text, by string) (Status, error) {
	var s run.Setting
	if text != "" {
		var err error
		if s, err = ParseSetting(text); err != nil {
			return Status{}, err
		}
	}
	by = declaredBy(by)
	if err := run.CheckLabel("by", by); err != nil {
		return Status{}, requestError(err)
	}
	return a.Declare(ctx, s, by)
}

func declaredBy(by string) string { return cmp.Or(by, ByAPI) }
