package userfile

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// accessList is the attribute that has a file's access list (acl(5)); with one, the
// group's bits of the mode are the most that the list gives to anybody.
const accessList = "system.posix_acl_access"

// keepAccessList gives f the access list of the file that it replaces, if it has one.
func keepAccessList(f *os.File, file string) error {
	list := make([]byte, 1<<16) // XATTR_SIZE_MAX
	n, err := unix.Lgetxattr(file, accessList, list)
	if errors.Is(err, unix.ENODATA) || errors.Is(err, unix.EOPNOTSUPP) {
		return nil
	}
	if err == nil {
		err = unix.Fsetxattr(int(f.Fd()), accessList, list[:n], 0)
	}
	return err
}
