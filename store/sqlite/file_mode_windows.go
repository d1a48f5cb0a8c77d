package sqlite

import "os"

// mayWrite tells whether this process may write the file.
func mayWrite(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return f.Close()
}
