package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// What became of a fault.
const (
	caught      = "caught"       // a test failed
	timedOut    = "timed out"    // the tests did not end in time, or grew without end
	survived    = "survived"     // every test passed
	notCompiled = "not compiled" // it does not count
)

// record is one fault and what became of it.
type record struct {
	Package string `json:"package"` // below the module
	Seed    uint64 `json:"seed"`
	fault
	Outcome string  `json:"outcome"`
	By      string  `json:"by,omitempty"` // the first test that failed, or the compiler's first complaint
	Seconds float64 `json:"seconds"`
	Code    string  `json:"code"`  // digest of the package's code
	Tests   string  `json:"tests"` // digest of the package's tests

	why string // it is equivalent; "" if it is not known to be
}

// counts tells whether a fault is one that tests could have noticed.
func (r record) counts() bool { return r.Outcome != notCompiled }

// still tells whether a record says what trying the fault again would: the code
// is the same, and so are the tests unless the fault was noticed already. (A
// test that is taken away or weakened is not seen by this: start a new file.)
func (r record) still(code, tests string) bool {
	return r.Code == code && (r.Tests == tests || r.Outcome != survived)
}

// trialLog is a file of records. A nil file keeps nothing.
type trialLog struct {
	file *os.File
	old  []record
}

// openLog reads the records of a file and adds to it; "" keeps none.
func openLog(path string) (*trialLog, error) {
	if path == "" {
		return &trialLog{}, nil
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return nil, err
	}
	old, err := readRecords(path)
	if err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o666)
	return &trialLog{file: f, old: old}, err
}

func readRecords(path string) ([]record, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var all []record
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		var r record
		if err := json.Unmarshal(lines.Bytes(), &r); err != nil {
			return nil, fmt.Errorf("read %s, line %d: %w; take the line out or name another file with --out", path, n, err)
		}
		all = append(all, r)
	}
	return all, lines.Err()
}

// find is the newest record of a fault that still says what trying it would.
func (l *trialLog) find(x fault, code, tests string) (record, bool) {
	for i := len(l.old) - 1; i >= 0; i-- {
		if r := l.old[i]; r.fault.same(x) && r.still(code, tests) {
			return r, true
		}
	}
	return record{}, false
}

// add keeps a record.
func (l *trialLog) add(r record) error {
	if l.file == nil {
		return nil
	}
	line, err := json.Marshal(r)
	if err != nil {
		return err
	}
	_, err = l.file.Write(append(line, '\n'))
	return err
}

// Close closes the file.
func (l *trialLog) Close() error {
	if l.file == nil {
		return nil
	}
	return l.file.Close()
}
