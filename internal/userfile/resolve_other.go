//go:build unix && !linux

package userfile

// leadsToOpenFile tells whether the links in a folder lead to files that are open.
func leadsToOpenFile(string) bool { return false }
