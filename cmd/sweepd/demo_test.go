package main

import (
	"bytes"
	"encoding/json"
	"os"
	"strings"
	"testing"
)

func TestDemoShown(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	var out, stderr bytes.Buffer
	a := &app{out: &out, err: &stderr, getenv: os.Getenv}
	must(t, "run", "reject", "last", "--why", "an update ran")
	if err := a.showDemo(t.Context(), data); err != nil {
		t.Fatal(err)
	}
	for _, q := range demoQuestions {
		if !strings.Contains(out.String(), q.question+"\n$ sweepd "+strings.Join(q.args, " ")) {
			t.Errorf("%q is not asked:\n%s", q.question, out.String())
		}
	}
	if stderr.Len() > 0 || strings.Contains(out.String(), "0 interrupted") {
		t.Errorf("remarks belong to their command: %s", stderr.String())
	}
	out.Reset()
	if err := a.printDemo(t.Context(), data, true); err != nil {
		t.Fatal(err)
	}
	var day struct {
		Data    string
		Runs    int
		Doubts  []any
		Answers []struct{ Answer map[string]any }
		Report  string
	}
	if err := json.Unmarshal(out.Bytes(), &day); err != nil || day.Data != data || day.Runs != 96 || day.Doubts == nil || len(day.Answers) != len(demoQuestions) {
		t.Fatalf("%v: %+v", err, day)
	}
	for i, x := range day.Answers {
		if len(x.Answer) == 0 {
			t.Errorf("no answer to %q", demoQuestions[i].question)
		}
	}
	if _, err := os.Stat(day.Report); err != nil {
		t.Error(err)
	}
}
