package userfile

import (
	"errors"
	"testing"

	"golang.org/x/sys/unix"
)

// An access list stays with the name: without it the group would get what the list
// allows others (acl(5)). The list is in the kernel's form (posix_acl_xattr.h): version
// 2, then tag, rights and id of the owner (rw), user 7 (rw), the group (none), the mask
// (rw) and others (none).
func TestAccessListStays(t *testing.T) {
	list := []byte{2, 0, 0, 0,
		1, 0, 6, 0, 255, 255, 255, 255,
		2, 0, 6, 0, 7, 0, 0, 0,
		4, 0, 0, 0, 255, 255, 255, 255,
		16, 0, 6, 0, 255, 255, 255, 255,
		32, 0, 0, 0, 255, 255, 255, 255}
	path := file(t, "old", 0o600)
	if err := unix.Setxattr(path, accessList, list, 0); errors.Is(err, unix.EOPNOTSUPP) {
		t.Skip("no access lists here")
	} else if err != nil {
		t.Fatal(err)
	}
	must(t, Write(t.Context(), path, say("new")))
	holds(t, path, "new", 0o660)
	got := make([]byte, 100)
	n, err := unix.Getxattr(path, accessList, got)
	if err != nil || string(got[:n]) != string(list) {
		t.Errorf("the list became %v, %v", got[:n], err)
	}
}
