//go:build !linux && !windows

package collectors

func (r Roots) systemID() string   { return "" }
func (r Roots) hardwareID() string { return "" }
