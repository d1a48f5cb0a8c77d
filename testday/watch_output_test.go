package testday

import (
	"io"
	"strings"
	"testing"
)

func TestResultsOfOutput(t *testing.T) {
	rules, err := ParseOutputRules([]string{`score=score: (\S+)`, `load=load (.*)$`, `gone=gone ([0-9]+)`, `word=is (\w+)`})
	if err != nil {
		t.Fatal(err)
	}
	s := rules.newOutput()
	out, stderr := s.stream(), s.stream()
	// Lines come in pieces, from both streams at once; the last one that fits
	// counts, with or without an end.
	for _, piece := range []string{"warm-up sco", "re: 3\nscore: 1", "2.5pts\r", strings.Repeat("x", 200_000) + "\n", "it is not\nload 4.2 s"} {
		if n, err := io.WriteString(out, piece); n != len(piece) || err != nil {
			t.Fatal(n, err)
		}
		if _, err := io.WriteString(stderr, "noise "); err != nil {
			t.Fatal(err)
		}
	}
	got, err := s.results()
	if len(got) != 2 || got["score"].Value != 12.5 || got["score"].Unit != "pts" || got["load"].Value != 4.2 || got["load"].Unit != "s" {
		t.Errorf("got %+v", got)
	}
	if err == nil || !strings.Contains(err.Error(), "result gone: no line") || !strings.Contains(err.Error(), `result word: "not" is not a number`) {
		t.Errorf("error: %v", err)
	}
}
