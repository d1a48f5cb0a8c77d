package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/goccy/go-yaml"
)

// equivalent is a fault that no test can notice, with the argument why. It is
// found again by its text, in whatever line it stands; where a function has the
// line twice, the argument has to hold for both.
type equivalent struct {
	File     string `yaml:"file"` // from the module's root, with slashes
	Function string `yaml:"function"`
	Before   string `yaml:"before"`
	After    string `yaml:"after"`
	Why      string `yaml:"why"`
}

// equivalents is the list's file, from the module's root.
const equivalents = "internal/faults/equivalent.yaml"

// readEquivalents reads the list; a module need not have one.
func readEquivalents(root string) ([]equivalent, error) {
	path := filepath.Join(root, filepath.FromSlash(equivalents))
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var list []equivalent
	if err := yaml.NewDecoder(f, yaml.Strict()).Decode(&list); err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	for _, e := range list {
		if e.Why == "" {
			return nil, fmt.Errorf("%s: %s, %q has no argument: say why no test can notice it", path, e.File, e.Before)
		}
	}
	return list, nil
}

// argument is why a fault is equivalent; "" if the list does not have it.
func argument(list []equivalent, x fault) string {
	for _, e := range list {
		if e.File == x.File && e.Function == x.Function && e.Before == x.Before && e.After == x.After {
			return e.Why
		}
	}
	return ""
}

// equivalentLimit is how many of the faults tried may be called equivalent:
// five in a hundred.
func equivalentLimit(tried int) int { return max(5, tried/20) }
