package realkernel

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
)

// parseOutput takes apart what init.sh sends: the script's output, FS "exit CODE" LF,
// and the folder /out, which it unpacks to out.
func parseOutput(got Result, output []byte, out string) (Result, error) {
	stdout, rest, found := bytes.Cut(output, []byte("\x1cexit "))
	got.Stdout = string(stdout)
	code, packed, ended := bytes.Cut(rest, []byte("\n"))
	if !found || !ended {
		return got, errors.New("the guest switched itself off before the script's end")
	}
	var err error
	if got.ExitCode, err = strconv.Atoi(string(code)); err != nil {
		return got, fmt.Errorf("exit code of the script: %w", err)
	}
	got.OutDir = out
	if err := unpack(packed, out); err != nil {
		return got, fmt.Errorf("unpack the guest's /out (%d bytes): %w", len(packed), err)
	}
	return got, nil
}

// unpack writes the folders and files of a gzipped tar archive below dir.
func unpack(packed []byte, dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	plain, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return err
	}
	for files := tar.NewReader(plain); ; {
		h, err := files.Next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if err := unpackEntry(root, h, files); err != nil {
			return fmt.Errorf("%s: %w", h.Name, err)
		}
	}
}

func unpackEntry(root *os.Root, h *tar.Header, content io.Reader) error {
	name := filepath.Clean(h.Name)
	switch h.Typeflag {
	case tar.TypeDir:
		return root.MkdirAll(name, 0o700)
	case tar.TypeReg:
		data, err := io.ReadAll(content)
		if err != nil {
			return err
		}
		return root.WriteFile(name, data, 0o600)
	}
	return nil // sockets and links stay in the guest
}
