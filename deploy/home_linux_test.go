package deploy

import (
	"os"
	"path/filepath"
	"testing"
)

// Installing what is there already writes nothing, so that it works in a home folder that
// cannot be written; another text, or another mode, takes the file's place whole.
func TestReplaceLeavesWhatIsThere(t *testing.T) {
	path := filepath.Join(t.TempDir(), "new", "sweepd")
	put := func(text string, mode os.FileMode) os.FileInfo {
		t.Helper()
		if err := replace(path, []byte(text), mode); err != nil {
			t.Fatal(err)
		}
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if kept, err := os.ReadFile(path); err != nil || string(kept) != text || info.Mode().Perm() != mode {
			t.Errorf("%s: %q, %v (%v)", path, kept, info.Mode(), err)
		}
		return info
	}
	first := put("one", 0o755)
	if !os.SameFile(first, put("one", 0o755)) {
		t.Error("what was there already was written again")
	}
	if os.SameFile(first, put("two", 0o755)) {
		t.Error("a program that may be running was written into")
	}
	if put("two", 0o644); t.Failed() {
		return
	}
	if files, err := os.ReadDir(filepath.Dir(path)); err != nil || len(files) != 1 {
		t.Errorf("left behind: %v (%v)", files, err)
	}
}
