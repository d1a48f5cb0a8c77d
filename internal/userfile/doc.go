// Package userfile writes and reads the files that a person names, who may name
// anything: a link, a pipe, a device, somebody else's file, one that never ends.
//
// A file is written whole or not at all (Write), and read within a bound that its
// error names (Open, Read). A link is followed, but not one that
// another user may have planted (Resolve). Names that this package makes up itself are
// random and new.
package userfile
