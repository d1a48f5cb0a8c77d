package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// leftOut are the packages in which no faults are planted, each with the reason.
var leftOut = map[string]string{
	"cmd/sweepd":          "wiring: flags and output; its tests start whole agents",
	"deploy":              "packages and units: its tests build and install them, for minutes",
	"internal/cost":       "a benchmark of the machine it runs on",
	"internal/layering":   "tests alone",
	"store/contract":      "tests alone, which every store runs",
	"internal/realkernel": "boots a kernel for each test",
	"internal/scripted":   "a machine for the tests of other packages",
}

// module is the module whose packages are tried.
type module struct {
	root     string
	packages []*goPackage
}

// goPackage is a package as `go list` describes it.
type goPackage struct {
	ImportPath                string
	Dir                       string
	GoFiles                   []string
	EmbedFiles                []string
	TestGoFiles, XTestGoFiles []string
	Module                    struct{ Path, Dir string }

	path   string // below the module
	places []*place
}

// openModule lists the packages of the module that a folder is in.
func openModule(ctx context.Context, dir string) (*module, error) {
	cmd := exec.CommandContext(ctx, "go", "list", "-json", "./...")
	cmd.Dir = dir
	var problem bytes.Buffer
	cmd.Stderr = &problem
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("list the packages in %s: %w: %s", dir, err, bytes.TrimSpace(problem.Bytes()))
	}
	m := &module{}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		p := &goPackage{}
		if err := d.Decode(p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("read what go list says of %s: %w", dir, err)
		}
		m.root = p.Module.Dir
		p.path = strings.TrimPrefix(strings.TrimPrefix(p.ImportPath, p.Module.Path), "/")
		if p.path == "" {
			p.path = "."
		}
		m.packages = append(m.packages, p)
	}
	if len(m.packages) == 0 {
		return nil, fmt.Errorf("there is no package in %s: start in the checkout or give --dir", dir)
	}
	return m, nil
}

// choose gives the packages by their paths below the module, separated by
// commas; "" is all but those left out.
func (m *module) choose(paths string) ([]*goPackage, error) {
	if paths == "" {
		return slices.DeleteFunc(slices.Clone(m.packages), func(p *goPackage) bool {
			_, out := leftOut[p.path]
			return out
		}), nil
	}
	var chosen []*goPackage
	for path := range strings.SplitSeq(paths, ",") {
		i := slices.IndexFunc(m.packages, func(p *goPackage) bool { return p.path == path })
		if i < 0 {
			return nil, fmt.Errorf("there is no package %q below %s", path, m.root)
		}
		chosen = append(chosen, m.packages[i])
	}
	return chosen, nil
}

// tested fails for a package that has places and no tests to notice faults there.
func (p *goPackage) tested() error {
	if len(p.places) > 0 && len(p.TestGoFiles)+len(p.XTestGoFiles) == 0 {
		return fmt.Errorf("package %s has code and no tests: write some, or say in leftOut why it has none", p.path)
	}
	return nil
}

// code is a digest of what the package is compiled from.
func (p *goPackage) code() (string, error) {
	return digest(p.Dir, append(slices.Clone(p.GoFiles), p.EmbedFiles...))
}

// tests is a digest of the package's tests and what they read beside them.
func (p *goPackage) tests() (string, error) {
	files := append(slices.Clone(p.TestGoFiles), p.XTestGoFiles...)
	data := filepath.Join(p.Dir, "testdata")
	err := filepath.WalkDir(data, func(path string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		name, err := filepath.Rel(p.Dir, path)
		files = append(files, name)
		return err
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	return digest(p.Dir, files)
}

func digest(dir string, files []string) (string, error) {
	h := sha256.New()
	for _, name := range files {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			return "", err
		}
		fmt.Fprintf(h, "%s %d\n", name, len(text))
		h.Write(text)
	}
	return hex.EncodeToString(h.Sum(nil)[:8]), nil
}
