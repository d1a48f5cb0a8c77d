package testday

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// FilterRequest is how a person says which runs are meant; empty fields mean all.
type FilterRequest struct {
	Device   string   `json:"device"`
	Workload string   `json:"workload"`
	Supply   string   `json:"supply"`
	Variant  []string `json:"variant"` // k=v pairs
	Setting  string   `json:"setting"`
	State    string   `json:"state"`
	Finding  string   `json:"finding"` // code
	Since    string   `json:"since"`   // see ParseSpan
	Until    string   `json:"until"`
	Last     int      `json:"last"` // the newest so many
}

// Filter understands the request.
func (q FilterRequest) Filter(now time.Time) (f store.Filter, err error) {
	f = store.Filter{Device: q.Device, Workload: q.Workload, Supply: run.Supply(q.Supply), State: run.State(q.State),
		Finding: run.Code(q.Finding), Limit: q.Last}
	if q.Last < 0 {
		return f, requestError(fmt.Errorf("last %d: want a number of runs from 1", q.Last))
	}
	if err := oneOf("supply", q.Supply, string(run.Mains), string(run.Battery)); err != nil {
		return f, err
	}
	if err := oneOf("state", q.State, string(run.Recording), string(run.Finished), string(run.Interrupted), string(run.Rejected)); err != nil {
		return f, err
	}
	if err := oneOf("finding", q.Finding, run.Codes()...); err != nil {
		return f, err
	}
	if f.Variant, err = run.ParseVariantPairs(q.Variant); err != nil {
		return f, requestError(err)
	}
	if q.Setting != "" {
		if f.Setting, err = run.ParseSetting(q.Setting); err != nil {
			return f, requestError(err)
		}
	}
	if q.Since != "" {
		if f.Since, _, err = ParseSpan(q.Since, now); err != nil {
			return f, requestError(fmt.Errorf("since %w", err))
		}
	}
	if q.Until != "" {
		if _, f.Until, err = ParseSpan(q.Until, now); err != nil {
			return f, requestError(fmt.Errorf("until %w", err))
		}
	}
	if !f.Since.IsZero() && !f.Until.IsZero() && !f.Since.Before(f.Until) {
		return f, requestError(fmt.Errorf("since %q is not before until %q: no run can be between them", q.Since, q.Until))
	}
	return f, nil
}

// Ahead says that the request is for runs that started later than now; "" where it is not.
// Where a clock was wrong there may be such runs all the same.
func (q FilterRequest) Ahead(now time.Time) string {
	from, _, err := ParseSpan(q.Since, now)
	if err != nil || !from.After(now) {
		return ""
	}
	return ahead(q.Since, from, now)
}

func ahead(since string, from, now time.Time) string {
	const minutes = "2006-01-02 15:04"
	text := fmt.Sprintf("since %s lies in the future: it is %s now", since, now.Format(minutes))
	if from.Before(now.Add(24*time.Hour)) && strings.Contains(since, ":") {
		text += fmt.Sprintf("; the day before is %q", from.AddDate(0, 0, -1).Format(minutes))
	}
	return text
}

// oneOf tells why a word is none of those that have a meaning; an empty one may be.
func oneOf(what, word string, words ...string) error {
	if word == "" || slices.Contains(words, word) {
		return nil
	}
	if near := run.Near(word, words); near != "" {
		return requestError(fmt.Errorf("%s %q: did you mean %s?", what, word, near))
	}
	return requestError(fmt.Errorf("%s %q: want one of %s", what, word, strings.Join(words, ", ")))
}
