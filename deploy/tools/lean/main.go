// Command lean writes the page's script and style as they travel: without comments,
// indentation and whatever else says nothing to a browser. It stands in for nothing that
// a person reads: the page is written, and reviewed, in console/page.*. Run it by
// `go generate ./console`; with -check it tells what is not as it would write it.
package main

import (
	"bytes"
	"crypto/sha256"
	"flag"
	"fmt"
	"io"
	"log"
	"os"
	"path/filepath"

	"github.com/tdewolff/minify/v2"
	"github.com/tdewolff/minify/v2/css"
	"github.com/tdewolff/minify/v2/js"
)

func main() {
	log.SetFlags(0)
	log.SetPrefix("lean: ")
	check := flag.Bool("check", false, "write nothing, and fail where a file is not up to date")
	flag.Parse()
	if err := run("../../console", *check); err != nil {
		log.Fatal(err)
	}
}

// sums has the SHA-256 of what was made lean, as sha256sum writes it, so that a test
// knows without this program whether it still is that.
const sums = "SHA256SUMS"

// kinds are the files of the page. Names stay as they are: what a browser complains of
// can be looked for.
var kinds = []struct {
	file string
	lean func(w io.Writer, r io.Reader) error
}{
	{"page.css", func(w io.Writer, r io.Reader) error { return (&css.Minifier{}).Minify(minify.New(), w, r, nil) }},
	{"page.js", func(w io.Writer, r io.Reader) error {
		return (&js.Minifier{KeepVarNames: true}).Minify(minify.New(), w, r, nil)
	}},
}

func run(dir string, check bool) error {
	made := map[string][]byte{}
	for _, k := range kinds {
		text, err := os.ReadFile(filepath.Join(dir, k.file))
		if err != nil {
			return err
		}
		var b bytes.Buffer
		if err := k.lean(&b, bytes.NewReader(text)); err != nil {
			return fmt.Errorf("%s: %w", filepath.Join(dir, k.file), err)
		}
		made[k.file] = append(b.Bytes(), '\n')
		made[sums] = fmt.Appendf(made[sums], "%x  %s\n", sha256.Sum256(text), k.file)
	}
	for name, text := range made {
		path := filepath.Join(dir, "lean", name)
		if !check {
			if err := os.WriteFile(path, text, 0o644); err != nil {
				return err
			}
			continue
		}
		if was, err := os.ReadFile(path); err != nil || !bytes.Equal(was, text) {
			return fmt.Errorf("%s is not what would be written: run go generate ./console", path)
		}
	}
	return nil
}
