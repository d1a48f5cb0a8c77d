// Package ownfile opens, and has the disk keep, the files that this program makes itself in
// the folder of the data, where others may lay something in their place.
package ownfile
