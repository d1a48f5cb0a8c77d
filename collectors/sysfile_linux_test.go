package collectors

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
	"pgregory.net/rapid"
)

func openTestFile(t *testing.T, content string) *sysFile {
	t.Helper()
	path := filepath.Join(t.TempDir(), "value")
	rewrite(t, path, content)
	f, err := openSysFile(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	return f
}

func TestSysFileReadsAgainWhatIsThereNow(t *testing.T) {
	f := openTestFile(t, "  first \n\n")
	for _, c := range []struct{ content, want string }{{" first \n", "first"}, {"2", "2"}, {"", ""}, {strings.Repeat("x", textMax-1), strings.Repeat("x", textMax-1)}} {
		rewrite(t, f.path, c.content)
		if got, err := f.text(); err != nil || string(got) != c.want {
			t.Errorf("%q, %v; want %q", got, err, c.want)
		}
	}
}

func TestSysFileRefusesWhatIsTooLong(t *testing.T) {
	f := openTestFile(t, strings.Repeat("7", textMax))
	_, err := f.text()
	re, ok := errors.AsType[*ReadError](err)
	if !ok || re.Path != f.path || re.Text != strings.Repeat("7", 40) {
		t.Errorf("error %v", err)
	}
}

// The same failure is the same value, another failure another one.
func TestSysFileErrorsAreStable(t *testing.T) {
	f := openTestFile(t, "")
	refused := f.refuse([]byte("n/a"), "watts")
	failed := f.fail(unix.EAGAIN)
	if !errors.Is(failed, unix.EAGAIN) || f.fail(unix.EAGAIN) != failed {
		t.Errorf("%v is not the same again", failed)
	}
	for _, other := range []error{f.fail(unix.ENODATA), f.refuse([]byte("n/a"), "watts"), f.refuse([]byte("n/b"), "watts"), f.refuse([]byte("n/b"), "volts")} {
		if other == failed || other == refused {
			t.Errorf("%v is taken for an earlier failure", other)
		}
	}
	again := f.refuse([]byte("n/b"), "volts")
	if n := testing.AllocsPerRun(10, func() {
		if f.refuse([]byte("n/b"), "volts") != again {
			t.Error("not the same again")
		}
	}); n != 0 {
		t.Errorf("%v allocations for a failure that is known", n)
	}
}

func TestSysFileOpening(t *testing.T) {
	dir := t.TempDir()
	if _, err := openSysFile(filepath.Join(dir, "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v, want not exist", err)
	}
	// A pipe that nobody writes to must not block, and a folder is no value.
	pipe := filepath.Join(dir, "pipe")
	if err := unix.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{pipe, dir} {
		f, err := openSysFile(path)
		if err != nil {
			t.Fatal(err)
		}
		text, err := f.text()
		if re, ok := errors.AsType[*ReadError](err); !ok || re.Path != path || len(text) != 0 {
			t.Errorf("%s: %q, %v", path, text, err)
		}
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}
	secret := filepath.Join(dir, "secret")
	if err := os.WriteFile(secret, nil, 0); err != nil {
		t.Fatal(err)
	}
	asNobody(t, Roots{Sys: filepath.Join(dir, "sys")}, func() {
		if _, err := openSysFile(secret); !errors.Is(err, fs.ErrPermission) {
			t.Errorf("%v, want permission denied", err)
		}
	})
}

// Go's own parser is the reference for what parseInt takes; it refuses
// underscores, other bases and what has more than 18 digits.
func TestParseInt(t *testing.T) {
	agree := func(text string) (string, bool) {
		got, ok := parseInt([]byte(text))
		want, err := strconv.ParseInt(text, 10, 64)
		digits := len(strings.TrimLeft(text, "+-"))
		if digits > 18 {
			return "more than 18 digits", !ok
		}
		return "strconv differs", ok == (err == nil) && (!ok || got == want)
	}
	for _, text := range []string{"", "-", "+", "0", "-0", "+7", "--7", "4 0", "1_000", "0x1f", "１２", "1.5", "1e3", "999999999999999999", "-999999999999999999", "1000000000000000000", "9223372036854775808"} {
		if why, ok := agree(text); !ok {
			t.Errorf("%q: %s", text, why)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.StringMatching(`[+-]?[0-9]{0,20}`), rapid.String()).Draw(t, "text")
		if why, ok := agree(text); !ok {
			t.Fatalf("%q: %s", text, why)
		}
	})
}

// The library's own function says what is right.
func TestRealPath(t *testing.T) {
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "devices", "chip"), 0o755); err != nil {
		t.Fatal(err)
	}
	for from, to := range map[string]string{"class": "devices", "link": "class/chip", "lost": "nowhere", "loop": "loop"} {
		if err := os.Symlink(to, filepath.Join(dir, from)); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{".", "devices/chip", "class/chip", "link", "link/..", "lost", "loop", "absent"} {
		path := dir + "/" + name
		got, err := realPath(path)
		want, wantErr := filepath.EvalSymlinks(path)
		if got != want || (err == nil) != (wantErr == nil) || errors.Is(err, fs.ErrNotExist) != errors.Is(wantErr, fs.ErrNotExist) {
			t.Errorf("%s: got %q, %v; want %q, %v", name, got, err, want, wantErr)
		}
	}
}
