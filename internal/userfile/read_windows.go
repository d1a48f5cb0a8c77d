package userfile

import (
	"context"
	"os"
)

// awaitFirst need not wait: a pipe that is there has its writer.
func awaitFirst(context.Context, *os.File) error { return nil }
