//go:build !linux

package collectors

func (r Roots) distributionNames() []string { return nil }
