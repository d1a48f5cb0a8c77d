package main

import (
	"io"
	"os"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress shows how far long work is, on a terminal only.
func progress(w io.Writer, total int, what string) *progressbar.ProgressBar {
	f, isFile := w.(*os.File)
	if !isFile || !term.IsTerminal(int(f.Fd())) {
		w = io.Discard
	}
	return progressbar.NewOptions(total, progressbar.OptionSetWriter(w), progressbar.OptionSetDescription(what),
		progressbar.OptionShowCount(), progressbar.OptionSetWidth(30), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100*time.Millisecond))
}
