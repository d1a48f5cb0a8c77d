package testday

import "sweepd/run"

// ParseSetting reads a setting as people type it.
func ParseSetting(text string) (run.Setting, error) {
	s, err := run.ParseSetting(text)
	if err == nil && s.Name() != "" {
		err = run.CheckLabel("setting", s.Name())
	}
	return s, requestError(err)
}
