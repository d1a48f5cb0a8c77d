// Package deploy holds what installs sweepd: the systemd unit, the Debian package,
// the scrape job, the example configuration. Its tests build the package twice and
// take it through its life in a booted Debian system.
package deploy
