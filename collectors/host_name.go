package collectors

import (
	"slices"
	"strings"
)

// DefaultHostName tells whether a host name is one that many machines have, because
// nobody gave them one: localhost (hostname(5)), or what the distribution says in
// os-release(5): its DEFAULT_HOSTNAME, or its ID or VARIANT_ID, which installers take
// (common practice, no source).
func (r Roots) DefaultHostName(name string) bool {
	name, _, _ = strings.Cut(strings.ToLower(name), ".")
	switch name {
	case "", "localhost", "localhost-live", "linux", "live", "livecd": // the last four: common practice, no source
		return true
	}
	return slices.Contains(r.distributionNames(), name)
}
