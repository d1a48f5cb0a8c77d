package console

import (
	"errors"

	"golang.org/x/sys/windows"
)

// tokenRights let the system, administrators and the owner at the file, and nobody else
// (security descriptor definition language).
const tokenRights = "D:P(A;;FA;;;SY)(A;;FA;;;BA)(A;;FA;;;OW)"

// writeToken writes the file anew, for those in tokenRights alone.
func writeToken(path, text string) error {
	f, err := newFile(path)
	if err != nil {
		return err
	}
	rights, err := windows.SecurityDescriptorFromString(tokenRights)
	if err == nil {
		var list *windows.ACL
		if list, _, err = rights.DACL(); err == nil {
			err = windows.SetNamedSecurityInfo(path, windows.SE_FILE_OBJECT, windows.DACL_SECURITY_INFORMATION|windows.PROTECTED_DACL_SECURITY_INFORMATION, nil, nil, list, nil)
		}
	}
	if err == nil {
		_, err = f.WriteString(text)
	}
	return errors.Join(err, f.Close())
}
