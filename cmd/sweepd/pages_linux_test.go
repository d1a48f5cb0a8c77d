package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"sweepd/internal/browser"
	"sweepd/run"
)

// pages are README.md and the pages in docs, by their path from here.
func pages(t *testing.T) map[string]string {
	t.Helper()
	paths, err := filepath.Glob("../../docs/*.md")
	if err != nil || len(paths) < 10 {
		t.Fatal(paths, err)
	}
	texts := map[string]string{}
	for _, path := range append(paths, "../../README.md") {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		texts[path] = string(text)
	}
	return texts
}

var (
	codeSpan  = regexp.MustCompile("`([^`\n]+)`")
	codeLine  = regexp.MustCompile(`(?m)^(?:    |\t)(.+)$`)
	codeFence = regexp.MustCompile("(?ms)^```[a-z]*\n(.*?)^```$")
	group     = regexp.MustCompile(`^(run|plan|demo|device|console) [a-z]+`)
	ourName   = regexp.MustCompile(`(?:^|[ /;&|(\\])(sweepd(?:\.exe)? .*)$`)
)

// commandLines are those of sweepd that a page shows, in the text or apart.
func commandLines(page string) (lines []string) {
	page = strings.ReplaceAll(page, "\\\n", " ")
	var shown []string
	for _, block := range codeFence.FindAllStringSubmatch(page, -1) {
		shown = append(shown, strings.Split(block[1], "\n")...)
	}
	page = codeFence.ReplaceAllString(page, "")
	for _, m := range codeLine.FindAllStringSubmatch(page, -1) {
		shown = append(shown, m[1])
	}
	for _, m := range codeSpan.FindAllStringSubmatch(codeLine.ReplaceAllString(page, ""), -1) {
		shown = append(shown, m[1])
	}
	for _, line := range shown {
		line, _, _ = strings.Cut(line, " # ")
		if m := ourName.FindStringSubmatch(line); m != nil {
			lines = append(lines, m[1])
		} else if group.MatchString(line) {
			lines = append(lines, "sweepd "+line)
		}
	}
	return lines
}

// The commands and options that a page shows are those of the program, and no command is
// without a page.
func TestPagesShowCommandsThatExist(t *testing.T) {
	root := (&app{getenv: os.Getenv, out: io.Discard, err: io.Discard}).root()
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	word := regexp.MustCompile(`^[a-z]+$`)
	shown, lines := map[string]bool{}, 0
	for path, text := range pages(t) {
		for _, line := range commandLines(text) {
			words := strings.Fields(line)[1:]
			if end := slices.Index(words, "--"); end >= 0 {
				words = words[:end]
			}
			if len(words) > 1 && words[0] == "service" && (words[1] == "start" || words[1] == "stop") { // on Windows alone, and tried there
				continue
			}
			cmd, rest, err := root.Find(words)
			if err != nil || cmd.HasSubCommands() && len(rest) > 0 && word.MatchString(rest[0]) {
				t.Errorf("%s: there is no such command: %s", path, line)
				continue
			}
			shown[cmd.CommandPath()] = true
			lines++
			cmd.InitDefaultHelpFlag()
			for _, flag := range rest {
				flag = strings.TrimRight(flag, ".,;:)")
				name, _, _ := strings.Cut(strings.TrimPrefix(flag, "--"), "=")
				if strings.HasPrefix(flag, "--") && cmd.Flags().Lookup(name) == nil && cmd.InheritedFlags().Lookup(name) == nil {
					t.Errorf("%s: %s has no --%s: %s", path, cmd.CommandPath(), name, line)
				}
			}
		}
	}
	if lines < 60 {
		t.Errorf("only %d command lines were found", lines)
	}
	for _, c := range runnable(root) {
		if !shown[c.CommandPath()] {
			t.Errorf("no page shows %s", c.CommandPath())
		}
	}
}

// runnable are the commands below one that do something and are ours.
func runnable(c *cobra.Command) (commands []*cobra.Command) {
	for _, sub := range c.Commands() {
		if sub.Hidden || sub.Name() == "help" || sub.Name() == "completion" {
			continue
		}
		if sub.Runnable() && !sub.HasSubCommands() {
			commands = append(commands, sub)
		}
		commands = append(commands, runnable(sub)...)
	}
	return commands
}

// The table of findings has each code of the program once, and no other.
func TestPageOfFindings(t *testing.T) {
	var listed []string
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z_]+)` \\| ([a-z, ]+) \\|").FindAllStringSubmatch(pages(t)["../../docs/findings.md"], -1) {
		listed = append(listed, m[1])
		if severity, _, _ := strings.Cut(m[2], ","); !slices.Contains([]run.Severity{run.SeverityNote, run.SeverityDoubt, run.SeverityReject}, run.Severity(severity)) {
			t.Errorf("%s is listed as %q, which is no severity", m[1], m[2])
		}
	}
	slices.Sort(listed)
	if !slices.Equal(listed, run.Codes()) {
		t.Errorf("the page lists\n%v, the codes are\n%v", listed, run.Codes())
	}
}

// Where a page points, there is something.
func TestLinksOfPages(t *testing.T) {
	link := regexp.MustCompile(`\]\(([^):]+)\)|(?:src|srcset)="([^"]+)"`)
	heading := regexp.MustCompile(`(?m)^#+ (.+)$`)
	texts, links := pages(t), 0
	for path, text := range texts {
		for _, m := range link.FindAllStringSubmatch(text, -1) {
			links++
			file, anchor, _ := strings.Cut(m[1]+m[2], "#")
			target := path
			if file != "" {
				target = filepath.Join(filepath.Dir(path), file)
			}
			if _, err := os.Stat(target); err != nil {
				t.Errorf("%s points at %s, which is not there", path, file)
			}
			if anchor == "" {
				continue
			}
			there := false
			for _, h := range heading.FindAllStringSubmatch(texts[target], -1) {
				plain := regexp.MustCompile(`[^\pL\pN _-]`).ReplaceAllString(strings.ToLower(h[1]), "")
				there = there || strings.ReplaceAll(plain, " ", "-") == anchor
			}
			if !there {
				t.Errorf("%s points at #%s of %s, which has no such heading", path, anchor, target)
			}
		}
	}
	if links < 20 {
		t.Errorf("only %d links were found", links)
	}
}

// README is short, and what it shows of the demo is what the demo says and draws.
func TestReadmeShowsTheDemo(t *testing.T) {
	const readme = "../../README.md"
	text := pages(t)[readme]
	if n := strings.Count(text, "\n"); n > 150 {
		t.Errorf("README.md has %d lines, at most 150 are read", n)
	}
	if testing.Short() {
		t.Skip("the demo takes 20 s")
	}
	alone(t)
	dir := filepath.Join(t.TempDir(), "demo")
	var out, log bytes.Buffer
	if code := Run(context.Background(), []string{"demo", "--out", dir}, strings.NewReader(""), &out, &log); code != exitOK {
		t.Fatal(code, log.String())
	}
	t.Setenv("SWEEPD_DATA", dir)
	numbersAgree(t, filepath.Join(t.TempDir(), "report"))
	var shown []string
	from := strings.Index(text, "    $ sweepd")
	for _, line := range strings.Split(text[max(from, 0):], "\n") {
		if line != "" && !strings.HasPrefix(line, "    ") {
			break
		}
		shown = append(shown, strings.TrimPrefix(line, "    "))
	}
	if sample := strings.TrimSpace(strings.Join(shown, "\n")); from < 0 || len(shown) < 10 || !strings.Contains(out.String(), sample) {
		t.Errorf("README.md shows\n%s\nThe demo says\n%s", sample, &out)
	}
	readInTenSeconds(t, filepath.Join(dir, "report", "report.html"))
	for _, shade := range []string{"light", "dark"} {
		shown, err := os.ReadFile("../../docs/pictures/two-devices-" + shade + ".svg")
		if err != nil {
			t.Fatal(err)
		}
		drawn, err := os.ReadFile(filepath.Join(dir, "report", "charts", "result-harbour-flight-mains-fps-mean-"+shade+".svg"))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(shown, drawn) {
			t.Errorf("docs/pictures/two-devices-%s.svg is not what the demo draws: copy it from a report of the demo", shade)
		}
	}
}

// readInTenSeconds measures a page as a browser shows it: before its first chart at most
// three sentences, 120 words and 25 numbers, and at most 15,000 px in all while its parts are
// folded.
func readInTenSeconds(t *testing.T, page string) {
	t.Helper()
	p := browser.Start(t).NewPage()
	p.Size(1280, 900, false)
	p.Open("file://" + page)
	p.Await("document.readyState === 'complete' && document.querySelector('figure svg')")
	var shown struct {
		Text      string
		Sentences []string
		Height    int
	}
	if err := p.Eval(`(() => {
		const before = document.createRange();
		before.setStart(document.body, 0);
		before.setEndBefore(document.querySelector("figure"));
		return { text: before.toString(), sentences: [...document.querySelectorAll("#opening .lead")].map((s) => s.innerText), height: document.documentElement.scrollHeight };
	})()`, &shown); err != nil {
		t.Fatal(err)
	}
	words, numbers := len(strings.Fields(shown.Text)), len(regexp.MustCompile(`\d+(?:[.,]\d+)*`).FindAllString(shown.Text, -1))
	if words > 120 || numbers > 25 || len(shown.Sentences) == 0 || len(shown.Sentences) > 3 || words < 40 {
		t.Errorf("%d words, %d numbers and %d sentences before the first chart:\n%s", words, numbers, len(shown.Sentences), shown.Text)
	}
	for i, want := range []string{"ahead", "most efficient", "battery lasts"} {
		if i < len(shown.Sentences) && !strings.Contains(shown.Sentences[i], want) {
			t.Errorf("sentence %d, %q, lacks %q", i+1, shown.Sentences[i], want)
		}
	}
	if shown.Height > 15000 || shown.Height < 2000 {
		t.Errorf("the page is %d px high", shown.Height)
	}
}
