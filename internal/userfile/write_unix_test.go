//go:build unix

package userfile

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// say is a write that writes a text.
func say(text string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	}
}

// holds checks what is in a file, its mode, and that nothing lies beside it that was
// not there before.
func holds(t *testing.T, file, text string, mode fs.FileMode) {
	t.Helper()
	got, err := os.ReadFile(file)
	must(t, err)
	info, err := os.Lstat(file)
	must(t, err)
	if string(got) != text || info.Mode() != mode {
		t.Errorf("%s holds %q with mode %v, want %q, %v", filepath.Base(file), got, info.Mode(), text, mode)
	}
	left, err := filepath.Glob(filepath.Join(filepath.Dir(file), ".sweepd-*"))
	must(t, err)
	if len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func file(t *testing.T, text string, mode fs.FileMode) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "file")
	must(t, os.WriteFile(path, []byte(text), 0o600))
	must(t, os.Chmod(path, mode))
	return path
}

// The mode of a file that is replaced stays, and the umask says that of a new one.
func TestModes(t *testing.T) {
	for _, mode := range []fs.FileMode{0o600, 0o640, 0o644, 0o666, 0o604, 0o200} {
		path := file(t, "old", mode)
		must(t, Write(t.Context(), path, say("new")))
		holds(t, path, "new", mode)
	}
	for _, umask := range []int{0o022, 0o077, 0o002} {
		path := filepath.Join(t.TempDir(), "file")
		was := syscall.Umask(umask)
		err := Write(t.Context(), path, say("new"))
		syscall.Umask(was)
		must(t, err)
		holds(t, path, "new", fs.FileMode(0o666&^umask))
	}
}

// What fails leaves the old file and nothing else.
func TestHalfAFileIsNone(t *testing.T) {
	path := file(t, "old", 0o640)
	full := errors.New("disk full")
	err := Write(t.Context(), path, func(w io.Writer) error {
		_, _ = io.WriteString(w, strings.Repeat("half", 1<<16))
		return full
	})
	if !errors.Is(err, full) || !strings.Contains(err.Error(), path) {
		t.Errorf("error %v", err)
	}
	holds(t, path, "old", 0o640)
	if err := Write(t.Context(), "/dev/full", say("new")); err == nil || !strings.Contains(err.Error(), "no space left") {
		if _, missing := os.Stat("/dev/full"); missing == nil {
			t.Errorf("writing on /dev/full: %v", err)
		}
	}
}

func TestLinksAreFollowed(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	must(t, os.Mkdir(at("sub"), 0o755))
	must(t, os.WriteFile(at("target"), []byte("old"), 0o600))
	must(t, os.Link(at("target"), at("other name")))
	must(t, os.Symlink("target", at("link")))
	must(t, os.Symlink("../link", at("sub/link")))
	must(t, os.Symlink(dir, at("sub/folder")))
	for _, path := range []string{"link", "sub/link", "sub/folder/link", "sub/folder/sub/../link"} {
		must(t, Write(t.Context(), dir+"/"+path, say(path)))
		holds(t, at("target"), path, 0o600)
	}
	holds(t, at("other name"), "old", 0o600)
	must(t, os.Symlink("sub/made", at("dangling")))
	must(t, Write(t.Context(), at("dangling"), say("new")))
	if text, err := os.ReadFile(at("sub/made")); err != nil || string(text) != "new" {
		t.Errorf("through a link to what did not exist: %q, %v", text, err)
	}
	must(t, os.Symlink("loop", at("loop")))
	must(t, os.Symlink("no/such/folder", at("nowhere")))
	for path, want := range map[string]string{
		"loop": "too many levels", "nowhere": "no such file", "sub": "is a folder", "sub/": "is a folder", "new/": "is a folder", "target/below": "not a directory",
	} {
		if err := Write(t.Context(), dir+"/"+path, say("new")); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: error %v, want %q", path, err, want)
		}
	}
	t.Chdir(at("sub"))
	must(t, Write(t.Context(), "../link", say("relative")))
	holds(t, at("target"), "relative", 0o600)
}

// A pipe is written to and stays one; a reader is waited for until the context ends; one
// that leaves is named.
func TestPipes(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	must(t, unix.Mkfifo(path, 0o600))
	read := make(chan string, 1)
	go func() {
		text, err := os.ReadFile(path)
		if err != nil {
			text = []byte(err.Error())
		}
		read <- string(text)
	}()
	must(t, Write(t.Context(), path, say("new")))
	if text := <-read; text != "new" {
		t.Errorf("the reader got %q", text)
	}
	if info, err := os.Lstat(path); err != nil || info.Mode().Type() != fs.ModeNamedPipe {
		t.Errorf("the pipe became %v, %v", info, err)
	}

	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if err := Write(ctx, path, say("new")); err == nil || !strings.Contains(err.Error(), "nobody reads") {
		t.Errorf("without a reader: %v", err)
	}

	reader, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	must(t, err)
	if err := Write(t.Context(), path, func(w io.Writer) error {
		must(t, reader.Close())
		return say(strings.Repeat("x", 1<<20))(w)
	}); !errors.Is(err, syscall.EPIPE) || !strings.Contains(err.Error(), "its reader left") {
		t.Errorf("a reader that left: %v", err)
	}

	ctx, cancel = context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	reader, err = os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	must(t, err)
	defer reader.Close()
	if err := Write(ctx, path, say(strings.Repeat("x", 1<<20))); !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("a reader that does not read: %v", err)
	}
}

// somebody is a user who is not root (nobody of most systems).
const somebody = 65534

// asSomebody runs a test of this package again as another user, who owns dir.
func asSomebody(t *testing.T, dir, test string) {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("only root can become another user")
	}
	program := filepath.Join(dir, "test")
	self, err := os.ReadFile(os.Args[0])
	must(t, err)
	must(t, os.WriteFile(program, self, 0o755))
	must(t, os.Chmod(program, 0o755)) // whatever the umask
	must(t, os.Chmod(dir, 0o755))
	for up := dir; up != "/" && up != os.TempDir(); up = filepath.Dir(up) {
		must(t, os.Chmod(up, 0o755))
	}
	c := exec.Command(program, "-test.run", "^"+test+"$", "-test.v")
	c.Dir, c.Env = dir, append(os.Environ(), "USERFILE_DIR="+dir)
	c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: somebody, Gid: somebody}}
	if out, err := c.CombinedOutput(); err != nil || strings.Contains(string(out), "SKIP") {
		t.Errorf("as another user: %v\n%s", err, out)
	}
}

// given is the folder that asSomebody gave.
func given(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("USERFILE_DIR")
	if dir == "" {
		t.Skip("runs within another test")
	}
	return dir
}

// planted makes the folders of TestPlanted: what root put there, and what is the
// other user's own.
func TestPlanted(t *testing.T) {
	dir := t.TempDir()
	if os.Geteuid() != 0 {
		t.Skip("only root can plant what belongs to another user")
	}
	for name, mode := range map[string]fs.FileMode{"sticky": 0o777 | fs.ModeSticky, "shared": 0o775, "open": 0o777, "closed": 0o755} {
		folder := filepath.Join(dir, name)
		must(t, os.Mkdir(folder, 0o755))
		must(t, os.Chmod(folder, mode))
		must(t, os.Chown(folder, 1, somebody)) // neither root's nor somebody's
		must(t, os.WriteFile(filepath.Join(folder, "victim"), []byte("old"), 0o666))
		must(t, os.Chown(filepath.Join(folder, "victim"), somebody, somebody))
		must(t, os.WriteFile(filepath.Join(folder, "planted file"), []byte("old"), 0o600))
		must(t, os.Chmod(filepath.Join(folder, "planted file"), 0o666))
		for _, link := range []struct {
			name string
			uid  int
		}{{"planted", 0}, {"own", somebody}, {"the folder owner's", 1}} {
			path := filepath.Join(folder, link.name)
			must(t, os.Symlink("victim", path))
			must(t, os.Lchown(path, link.uid, somebody))
			must(t, os.Symlink(dir, path+" folder"))
			must(t, os.Lchown(path+" folder", link.uid, somebody))
		}
	}
	asSomebody(t, dir, "TestPlantedAsSomebody")
}

func TestPlantedAsSomebody(t *testing.T) {
	dir := given(t)
	for _, folder := range []string{"sticky", "shared", "open", "closed"} {
		path := filepath.Join(dir, folder, "planted file")
		if err := Write(t.Context(), path, say("new")); errors.Is(err, ErrPlanted) != (folder == "sticky") {
			t.Errorf("writing into %s: %v", path, err)
		}
		if text, err := Read(t.Context(), path, Small); err != nil || folder == "sticky" && string(text) != "old" { // anybody may lay a table there
			t.Errorf("reading %s: %q, %v", path, text, err)
		}
		for _, link := range []string{"planted", "own", "the folder owner's"} {
			refused := link == "planted" && folder != "closed"
			path := filepath.Join(dir, folder, link)
			if err := Write(t.Context(), path, say("new")); errors.Is(err, ErrPlanted) != refused && !errors.Is(err, fs.ErrPermission) {
				t.Errorf("writing %s: %v, refused should be %v", path, err, refused)
			}
			in, err := Open(t.Context(), path, Small)
			if errors.Is(err, ErrPlanted) != refused {
				t.Errorf("reading %s: %v, refused should be %v", path, err, refused)
			}
			if err == nil {
				must(t, in.Close())
			}
			if _, err := Resolve(filepath.Join(path+" folder", "x")); errors.Is(err, ErrPlanted) != refused {
				t.Errorf("the way through %s: %v, refused should be %v", path, err, refused)
			}
		}
	}
}

// Who may not write a file does not get it replaced, and who may keeps its owner and
// group out of reach of others.
func TestRights(t *testing.T) {
	dir := t.TempDir()
	if os.Geteuid() != 0 {
		t.Skip("only root can give files away")
	}
	kept := file(t, "old", 0o640)
	must(t, os.Chown(kept, somebody, 1))
	must(t, Write(t.Context(), kept, say("new")))
	holds(t, kept, "new", 0o640)
	if info, err := os.Stat(kept); err != nil || info.Sys().(*syscall.Stat_t).Uid != somebody || info.Sys().(*syscall.Stat_t).Gid != 1 {
		t.Errorf("root changed the owner of another's file: %+v, %v", info.Sys(), err)
	}
	must(t, os.Chown(dir, somebody, somebody))
	for name, is := range map[string]struct {
		mode     fs.FileMode
		uid, gid int
	}{"read-only": {0o400, somebody, somebody}, "root's": {0o644, 0, 0}, "everybody's": {0o666, 0, 0}, "of a group": {0o662, 0, 0}} {
		path := filepath.Join(dir, name)
		must(t, os.WriteFile(path, []byte("old"), 0o600))
		must(t, os.Chmod(path, is.mode))
		must(t, os.Chown(path, is.uid, is.gid))
	}
	must(t, os.Mkdir(filepath.Join(dir, "folder"), 0o755))
	must(t, os.WriteFile(filepath.Join(dir, "folder", "own"), []byte("old"), 0o644))
	must(t, os.Chmod(filepath.Join(dir, "folder"), 0o755))
	must(t, os.Chmod(filepath.Join(dir, "folder", "own"), 0o644))
	must(t, os.Chown(filepath.Join(dir, "folder", "own"), somebody, somebody))
	asSomebody(t, dir, "TestRightsAsSomebody")
	holds(t, filepath.Join(dir, "read-only"), "old", 0o400)
	holds(t, filepath.Join(dir, "root's"), "old", 0o644)
	holds(t, filepath.Join(dir, "everybody's"), "new", 0o666)
	holds(t, filepath.Join(dir, "of a group"), "new", 0o622) // what was the group's is nobody's
	holds(t, filepath.Join(dir, "folder", "own"), "old", 0o644)
}

func TestRightsAsSomebody(t *testing.T) {
	dir := given(t)
	for name, may := range map[string]bool{"read-only": false, "root's": false, "everybody's": true, "of a group": true, "folder/own": false, "folder/new": false} {
		err := Write(t.Context(), filepath.Join(dir, name), say("new"))
		if may && err != nil || !may && !errors.Is(err, fs.ErrPermission) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What goes to the program's own output goes on where that stands, though it be a file.
func TestOwnOutput(t *testing.T) {
	if os.Getenv("USERFILE_DIR") == "own output" {
		fmt.Println("before")
		must(t, Write(t.Context(), "/dev/stdout", say("new\n")))
		fmt.Println("after")
		return
	}
	if _, err := os.Stat("/dev/stdout"); err != nil {
		t.Skip("no /dev/stdout here")
	}
	path := file(t, "", 0o644)
	out, err := os.Create(path)
	must(t, err)
	c := exec.Command(os.Args[0], "-test.run", "^TestOwnOutput$")
	c.Env, c.Stdout = append(os.Environ(), "USERFILE_DIR=own output"), out
	must(t, c.Run())
	must(t, out.Close())
	if text, err := os.ReadFile(path); err != nil || !strings.HasPrefix(string(text), "before\nnew\nafter\n") {
		t.Errorf("%q, %v", text, err)
	}
}
