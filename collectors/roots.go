package collectors

import (
	"os"
	"path/filepath"
)

// Roots are the folders that the kernel's file systems, and the system's configuration,
// are read from. The zero value means /sys, /proc and /etc.
type Roots struct {
	Sys  string
	Proc string
	Etc  string
}

// HostRoots takes the roots from HOST_SYS, HOST_PROC and HOST_ETC, the convention of
// gopsutil, where they are set.
func HostRoots() Roots {
	return Roots{Sys: os.Getenv("HOST_SYS"), Proc: os.Getenv("HOST_PROC"), Etc: os.Getenv("HOST_ETC")}
}

func (r Roots) sys(elem ...string) string  { return under(r.Sys, "/sys", elem) }
func (r Roots) proc(elem ...string) string { return under(r.Proc, "/proc", elem) }

func (r Roots) etc(elem ...string) string { return under(r.Etc, "/etc", elem) }

func under(root, standard string, elem []string) string {
	if root == "" {
		root = standard
	}
	return filepath.Join(append([]string{root}, elem...)...)
}
