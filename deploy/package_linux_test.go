package deploy

import (
	"bytes"
	"debug/elf"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// command runs a program in the project's folder and returns what it printed.
func command(t *testing.T, env []string, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Dir, cmd.Env = "..", append(os.Environ(), env...)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

// need skips where a program is missing or the test is not root's, except in CI,
// where both are there.
func need(t *testing.T, programs ...string) {
	t.Helper()
	var missing []string
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil {
			missing = append(missing, p)
		}
	}
	if len(missing) == 0 {
		return
	}
	say := t.Skipf
	if os.Getenv("CI") != "" {
		say = t.Fatalf
	}
	say("needs %s: see .ci/install", strings.Join(missing, ", "))
}

const testVersion = "9.8.7"

// built makes the packages once for all tests, of the work tree as it stands.
func built(t *testing.T) (folder string) {
	t.Helper()
	need(t, "git", "dpkg-deb")
	building.Do(func() {
		building.dir, building.err = os.MkdirTemp("", "sweepd-packages")
		if building.err == nil {
			command(t, []string{"VERSION=" + testVersion}, "deploy/package", building.dir)
			building.done = true
		}
	})
	if !building.done {
		t.Fatal("the packages could not be built", building.err)
	}
	return building.dir
}

var building struct {
	sync.Once
	dir  string
	done bool
	err  error
}

func TestMain(m *testing.M) {
	code := m.Run()
	if building.dir != "" {
		os.RemoveAll(building.dir)
	}
	os.Exit(code)
}

func packageFile(folder, arch string) string {
	return filepath.Join(folder, fmt.Sprintf("sweepd_%s_%s.deb", testVersion, arch))
}

func archiveFile(folder, version string) string {
	return filepath.Join(folder, fmt.Sprintf("sweepd_%s_linux_amd64.tar.gz", version))
}

// A kind of what is built for amd64: which package manager it is for, "" for the
// archive, and the words that unpack FILE into the folder it runs in.
type kind struct{ manager, name, unpack string }

var kinds = []kind{
	{"deb", "sweepd_" + testVersion + "_amd64.deb", `dpkg-deb -R "$0" .`},
	{"rpm", "sweepd-" + testVersion + "-1.x86_64.rpm", `rpm -qp --dump --scripts --requires --qf '%{BUILDTIME} %{BUILDHOST}' "$0" >rpm`},
	{"archlinux", "sweepd-" + testVersion + "-1-x86_64.pkg.tar.zst", `unzstd -qc "$0" | tar -x`},
	{"", filepath.Base(archiveFile("", testVersion)), `tar -xzf "$0"`},
}

func (k kind) file(folder string) string { return filepath.Join(folder, k.name) }

// maxBinary is the design's limit for the program on Linux.
const maxBinary = 32e6

func TestPackagesHoldAStaticProgramForTheirMachine(t *testing.T) {
	folder := built(t)
	for arch, machine := range map[string]elf.Machine{"amd64": elf.EM_X86_64, "arm64": elf.EM_AARCH64} {
		file := packageFile(folder, arch)
		if got := strings.TrimSpace(command(t, nil, "dpkg-deb", "-f", file, "Architecture")); got != arch {
			t.Errorf("%s is for %s", file, got)
		}
		root := t.TempDir()
		command(t, nil, "dpkg-deb", "-x", file, root)
		checkProgram(t, filepath.Join(root, "usr/bin/sweepd"), machine)
		checkTree(t, root)
	}
}

// The archive holds the program, what is read beside it and the licences, in one folder
// and for nobody in particular; SHA256SUMS knows all that is built.
func TestArchive(t *testing.T) {
	folder := built(t)
	root := t.TempDir()
	command(t, nil, "tar", "-C", root, "-xzf", archiveFile(folder, testVersion))
	inside := filepath.Join(root, "sweepd_"+testVersion+"_linux_amd64")
	checkProgram(t, filepath.Join(inside, "sweepd"), elf.EM_X86_64)
	checkTree(t, root)
	for _, name := range []string{"README.md", "CHANGELOG.md", "docs/linux.md", "man/sweepd-agent.1.gz", "completions/sweepd.bash", "examples/prometheus/rules.yaml"} {
		if info, err := os.Stat(filepath.Join(inside, name)); err != nil || info.Size() == 0 {
			t.Errorf("no %s: %v", name, err)
		}
	}
	licences, err := os.ReadFile(filepath.Join(inside, "copyright"))
	if err != nil || !strings.Contains(string(licences), "modernc.org/sqlite") {
		t.Error("the licences are missing", err)
	}
	if owners := command(t, nil, "sh", "-c", `tar --numeric-owner -tvzf "$0" | awk '{print $2}' | sort -u`, archiveFile(folder, testVersion)); owners != "0/0\n" {
		t.Errorf("owners are %q", owners)
	}
	sums := command(t, nil, "sh", "-c", `cd "$0" && sha256sum -c SHA256SUMS`, folder)
	files, err := filepath.Glob(filepath.Join(folder, "sweepd*"))
	if err != nil || len(files) != 8 || strings.Count(sums, ": OK\n") != len(files) {
		t.Errorf("%q were built; their sums: %s", files, sums)
	}
}

func checkProgram(t *testing.T, file string, machine elf.Machine) {
	t.Helper()
	f, err := elf.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if f.Machine != machine {
		t.Errorf("%s is for %v, want %v", file, f.Machine, machine)
	}
	for _, p := range f.Progs {
		if p.Type == elf.PT_INTERP {
			t.Errorf("%s needs a loader: it is not static", file)
		}
	}
	info, err := os.Stat(file)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%v: %.1f MB", machine, float64(info.Size())/1e6)
	if info.Size() > maxBinary {
		t.Errorf("%s has %d bytes, more than %.0f", file, info.Size(), maxBinary)
	}
}

// checkTree finds links that lead out of the package, and files that a group or
// everybody may write.
func checkTree(t *testing.T, root string) {
	t.Helper()
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		if d.Type()&fs.ModeSymlink != 0 {
			t.Errorf("%s is a link", path)
		} else if path != root && info.Mode().Perm()&0o022 != 0 {
			t.Errorf("%s has mode %v", path, info.Mode())
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

var long = flag.Bool("long", false, "compile everything anew, too")

// Another build in another folder, time zone and language gives the same package
// byte for byte; and, as make long has it, the program is the same where Go's cache
// holds nothing of the first build.
func TestTwoBuildsAreTheSame(t *testing.T) {
	first := packageFile(built(t), "amd64")
	copied := filepath.Join(t.TempDir(), "elsewhere")
	copyTree(t, copied)
	env := []string{"VERSION=" + testVersion, "TZ=Asia/Tokyo", "LANG=de_DE.UTF-8"}
	out := t.TempDir()
	command(t, env, filepath.Join(copied, "deploy/package"), out, "amd64")
	for _, kind := range kinds {
		if first, second := kind.file(built(t)), kind.file(out); !sameBytes(t, first, second) {
			t.Errorf("two of %s differ in\n%s", kind.name, differing(t, kind, first, second))
		}
	}
	if !*long {
		return
	}
	root, program := t.TempDir(), filepath.Join(t.TempDir(), "sweepd")
	command(t, nil, "dpkg-deb", "-x", first, root)
	command(t, append(env, "GOARCH=amd64", "GOCACHE="+filepath.Join(t.TempDir(), "cache")), filepath.Join(copied, "deploy/build"), program)
	if !sameBytes(t, filepath.Join(root, "usr/bin/sweepd"), program) {
		t.Error("the program differs when it is compiled anew")
	}
}

func sameBytes(t *testing.T, files ...string) bool {
	t.Helper()
	var texts [2][]byte
	for i, file := range files {
		var err error
		if texts[i], err = os.ReadFile(file); err != nil {
			t.Fatal(err)
		}
	}
	return bytes.Equal(texts[0], texts[1])
}

// copyTree clones the project and lays the work tree's own changes over it.
func copyTree(t *testing.T, dir string) {
	t.Helper()
	command(t, nil, "git", "clone", "-q", "--shared", ".", dir)
	command(t, nil, "bash", "-c", `git ls-files -z --cached --others --exclude-standard | xargs -0 sh -c '
		for f; do if [ -e "$f" ]; then mkdir -p "$0/$(dirname "$f")" && cp -p "$f" "$0/$f"; else rm -f "$0/$f"; fi; done' "$0"`, dir)
}

// differing names the files that differ in two packages.
func differing(t *testing.T, kind kind, files ...string) string {
	t.Helper()
	var sums [2][]string
	for i, file := range files {
		root := t.TempDir()
		command(t, nil, "sh", "-c", `cd "$1" && `+kind.unpack, file, root)
		sums[i] = strings.Split(command(t, nil, "sh", "-c", `cd "$0" && find . -type f | sort | xargs md5sum`, root), "\n")
	}
	var list []string
	for i, line := range sums[0] {
		if i >= len(sums[1]) || sums[1][i] != line {
			list = append(list, line)
		}
	}
	return strings.Join(list, "\n")
}
