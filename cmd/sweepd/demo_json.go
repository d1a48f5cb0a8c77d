package main

import (
	"bytes"
	"context"
	"encoding/json"
	"path/filepath"
	"strings"

	"sweepd/testday"
)

// playedDay is a played day as JSON.
type playedDay struct {
	Data    string           `json:"data"` // the folder
	Runs    int              `json:"runs"`
	Doubts  []*testday.Doubt `json:"doubts"`
	Answers []demoAnswer     `json:"answers"`
	Report  *string          `json:"report"` // the folder; null where one device was played alone
}

// demoAnswer is what a command prints with --json.
type demoAnswer struct {
	Question string          `json:"question"`
	Command  string          `json:"command"`
	Answer   json.RawMessage `json:"answer"`
}

// printDemo prints as JSON what showDemo shows, or countDemo where whole is false.
func (a *app) printDemo(ctx context.Context, dir string, whole bool) error {
	runs, err := demoRuns(ctx, dir)
	if err != nil {
		return err
	}
	day := playedDay{Data: dir, Runs: len(runs), Doubts: testday.Doubts(runs), Answers: []demoAnswer{}}
	if !whole {
		return a.printJSON(day)
	}
	for _, q := range demoQuestions {
		answer, err := a.answer(ctx, append(q.args, "--json", "--data", dir))
		if err != nil {
			return err
		}
		day.Answers = append(day.Answers, demoAnswer{q.question, "sweepd " + strings.Join(q.args, " "), answer})
	}
	report := filepath.Join(dir, "report")
	if _, err := a.answer(ctx, []string{"report", "--out", report, "--data", dir}); err != nil {
		return err
	}
	day.Report = &report
	return a.printJSON(day)
}

// answer is what a command line of this program prints.
func (a *app) answer(ctx context.Context, args []string) ([]byte, error) {
	var out bytes.Buffer
	again := &app{in: a.in, out: &out, err: a.err, getenv: a.getenv}
	err := again.execute(ctx, args)
	return out.Bytes(), err
}
