// Command licences lists the modules that sweepd is made of, with their versions
// and licences, as deploy/licences.md holds them; with -texts it prints the
// licences themselves, which travel with the program. Run it in deploy/tools.
package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"log"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/google/licensecheck"
)

func main() {
	log.SetFlags(0)
	texts := flag.Bool("texts", false, "print the licences of what is in the program")
	flag.Parse()
	if err := run(os.Stdout, *texts); err != nil {
		log.Fatal("licences: ", err)
	}
}

const project = "../.."

func run(w io.Writer, texts bool) error {
	shipped, err := modules("./cmd/sweepd")
	if err != nil {
		return err
	}
	if texts {
		return printTexts(w, shipped)
	}
	all, err := modules("-test", "./...")
	if err != nil {
		return err
	}
	fmt.Fprint(w, "# Modules and their licences\n\nWritten by `make licences` from the modules themselves; names as SPDX gives them. Where\nthere are several, the files of the module say which part has which, or that either may be\nchosen.\n")
	if err := printTable(w, "In the program", "on Linux, Windows or both", shipped); err != nil {
		return err
	}
	only := slices.DeleteFunc(all, func(m module) bool {
		return slices.ContainsFunc(shipped, func(s module) bool { return s.Path == m.Path })
	})
	return printTable(w, "In tests and tools alone", "not in what is installed", only)
}

// module is one that packages are taken from. The folders are those of the
// packages used, for a part may have a licence of its own.
type module struct {
	Path, Version, Dir string
	folders            map[string]bool
}

// modules lists those whose packages a build needs on either system, by path.
func modules(args ...string) ([]module, error) {
	found := map[string]module{}
	for _, system := range []string{"linux", "windows"} {
		cmd := exec.Command("go", append([]string{"list", "-deps", "-json=Dir,Module,Standard"}, args...)...)
		cmd.Dir, cmd.Stderr = project, os.Stderr
		cmd.Env = append(os.Environ(), "GOOS="+system, "GOARCH=amd64", "CGO_ENABLED=0", "GOFLAGS=-mod=readonly")
		out, err := cmd.Output()
		if err != nil {
			return nil, fmt.Errorf("list the packages for %s: %w", system, err)
		}
		if err := collect(found, out); err != nil {
			return nil, err
		}
	}
	return slices.SortedFunc(maps.Values(found), func(a, b module) int { return cmp.Compare(a.Path, b.Path) }), nil
}

func collect(found map[string]module, list []byte) error {
	for d := json.NewDecoder(bytes.NewReader(list)); ; {
		var p struct {
			Dir      string
			Standard bool
			Module   *struct {
				Path, Version, Dir string
				Main               bool
				Replace            *struct{ Version string }
			}
		}
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		if p.Standard || p.Module == nil || p.Module.Main || p.Module.Replace != nil && p.Module.Replace.Version == "" {
			continue // what stands in a folder in place of a module is ours
		}
		m, ok := found[p.Module.Path]
		if !ok {
			m = module{Path: p.Module.Path, Version: p.Module.Version, Dir: p.Module.Dir, folders: map[string]bool{}}
			found[m.Path] = m
		}
		m.folders[p.Dir] = true
	}
}

// licenceFile matches the names that such files have.
var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents|unlicense)([-._].*)?$`)

// files lists the licences of a module's packages, from its root down to each.
func (m module) files() ([]string, error) {
	folders := map[string]bool{}
	for dir := range m.folders {
		for ; len(dir) >= len(m.Dir); dir = filepath.Dir(dir) {
			folders[dir] = true
		}
	}
	if gathered := filepath.Join(m.Dir, "licenses"); isFolder(gathered) {
		folders[gathered] = true
	}
	var list []string
	for _, dir := range slices.Sorted(maps.Keys(folders)) {
		entries, err := os.ReadDir(dir)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			inside := filepath.Base(dir) == "licenses" // every file there is one
			if e.Type().IsRegular() && filepath.Ext(e.Name()) != ".go" && (inside || licenceFile.MatchString(e.Name())) {
				list = append(list, filepath.Join(dir, e.Name()))
			}
		}
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("module %s has no licence file in %s", m.Path, m.Dir)
	}
	return list, nil
}

func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// licences names the licences of a module as SPDX does.
func (m module) licences() (string, error) {
	files, err := m.files()
	if err != nil {
		return "", err
	}
	names := map[string]bool{}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return "", err
		}
		for _, match := range licensecheck.Scan(text).Match {
			if !match.IsURL {
				names[match.ID] = true
			}
		}
	}
	if len(names) == 0 {
		return "", fmt.Errorf("module %s: no licence known by name in %s", m.Path, strings.Join(files, ", "))
	}
	return strings.Join(slices.Sorted(maps.Keys(names)), ", "), nil
}

func printTable(w io.Writer, title, where string, list []module) error {
	fmt.Fprintf(w, "\n## %s (%s)\n\n| module | version | licence |\n| --- | --- | --- |\n", title, where)
	for _, m := range list {
		name, err := m.licences()
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "| %s | %s | %s |\n", m.Path, m.Version, name); err != nil {
			return err
		}
	}
	return nil
}

// printTexts prints every licence, that of Go's own library first.
func printTexts(w io.Writer, list []module) error {
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return err
	}
	if err := printText(w, "The Go standard library", filepath.Join(strings.TrimSpace(string(root)), "LICENSE")); err != nil {
		return err
	}
	for _, m := range list {
		files, err := m.files()
		if err != nil {
			return err
		}
		for _, file := range files {
			part, err := filepath.Rel(m.Dir, file)
			if err != nil {
				return err
			}
			if err := printText(w, m.Path+" "+m.Version+", "+filepath.ToSlash(part), file); err != nil {
				return err
			}
		}
	}
	return nil
}

func printText(w io.Writer, title, file string) error {
	text, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "%s\n%s\n\n%s\n\n", title, strings.Repeat("-", len(title)), bytes.TrimSpace(text))
	return err
}
