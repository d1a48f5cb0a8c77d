package collectors

import (
	"os"
	"path/filepath"
)

// Roots are the folders that the kernel's file systems are read from. The zero
// value means /sys and /proc.
type Roots struct {
	Sys  string
	Proc string
}

// HostRoots takes the roots from HOST_SYS and HOST_PROC, the convention of
// gopsutil, where they are set.
func HostRoots() Roots { return Roots{Sys: os.Getenv("HOST_SYS"), Proc: os.Getenv("HOST_PROC")} }

func (r Roots) sys(elem ...string) string  { return under(r.Sys, "/sys", elem) }
func (r Roots) proc(elem ...string) string { return under(r.Proc, "/proc", elem) }

func under(root, standard string, elem []string) string {
	if root == "" {
		root = standard
	}
	return filepath.Join(append([]string{root}, elem...)...)
}
