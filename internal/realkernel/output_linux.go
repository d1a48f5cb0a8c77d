package realkernel

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
)

var errEndedEarly = errors.New("the guest switched itself off before the script's end")

// parseOutput takes apart what init.sh sends: the script's output, FS "exit CODE" LF,
// and the folder /out, which it unpacks to out.
func parseOutput(ctx context.Context, got Result, output []byte, out string) (Result, error) {
	stdout, rest, found := bytes.Cut(output, []byte("\x1cexit "))
	got.Stdout = string(stdout)
	code, packed, ended := bytes.Cut(rest, []byte("\n"))
	if !found || !ended {
		return got, errEndedEarly
	}
	var err error
	if got.ExitCode, err = strconv.Atoi(string(code)); err != nil {
		return got, fmt.Errorf("exit code of the script: %w", err)
	}
	got.OutDir = out
	if err := unpack(ctx, packed, out); err != nil {
		return got, fmt.Errorf("unpack the guest's /out (%d bytes): %w", len(packed), err)
	}
	return got, nil
}

// unpack writes the folders and files of a gzipped tar archive below dir.
func unpack(ctx context.Context, packed []byte, dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	archive := dir + ".tar.gz"
	if err := os.WriteFile(archive, packed, 0o600); err != nil {
		return err
	}
	_, err := command(ctx, dir, "tar", "xzf", archive)
	return err
}
