package testday

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"sweepd/analysis"
	"sweepd/run"
)

// twoDays are runs of one cell for each setting, three on each of two days; on the
// second day results are 10 % higher.
func twoDays() Selection {
	var x Selection
	for day := range 2 {
		for i := range 3 {
			for _, w := range []float64{8, 12, 16, 20} {
				v := (40 + 3*w) * (1 + 0.1*float64(day)) * (1 + 0.002*float64(i))
				x.Runs = append(x.Runs, run.Run{ID: fmt.Sprintf("%d%d%v", day, i, w), State: run.Finished,
					Labels:    run.Labels{Device: "unit-oak", Workload: "tile-sort", Setting: run.Watts(w).From(run.Declared), Supply: run.Mains, Variant: "cores=6"},
					StartedAt: run.Stamp(morning.AddDate(0, 0, day).Add(time.Duration(i)*time.Hour + time.Duration(w)*time.Minute)),
					Results:   map[string]run.Result{"score": {Value: v, Better: run.Higher}}})
			}
		}
	}
	return x
}

// Days are compared as devices are, whichever way a side says its time; the runs
// themselves stay as they were.
func TestCompareDays(t *testing.T) {
	now := morning.AddDate(0, 0, 1).Add(9 * time.Hour)
	first, second := morning.Format(time.DateOnly), now.Format(time.DateOnly)
	for _, q := range []analysis.CompareRequest{
		{A: "since=" + second, B: "until=" + first},
		{A: "since=" + second},
		{A: "since=today", B: "since=yesterday,until=yesterday"},
		{By: "device", A: "unit-oak,since=" + second, B: "unit-oak,until=" + first},
		{A: "device=unit-oak,since=" + second, B: "device=unit-oak"},
	} {
		x := twoDays()
		if err := CheckSides(q, now); err != nil {
			t.Errorf("%+v: %v", q, err)
		}
		c, err := Compare(x, q, analysis.Prices{}, now)
		if err != nil || len(c.Comparisons) != 1 || len(c.Comparisons[0].Settings) != 4 {
			t.Errorf("%+v: %+v, %v", q, c, err)
			continue
		}
		for _, s := range c.Comparisons[0].Settings {
			if s.Verdict != analysis.VerdictA || s.NA != 3 || s.NB != 3 || !(s.Lower < 0.1 && 0.1 < s.Upper) {
				t.Errorf("%+v: at %v W %+v", q, s.SettingW, s)
			}
		}
		if !strings.Contains(fmt.Sprint(c.JSON().Comparisons[0]), "not interleaved in time") {
			t.Errorf("%+v: nothing says that the days differ in more", q)
		}
		if x.Runs[0].Variant != "cores=6" {
			t.Errorf("%+v: the runs were changed: %s", q, x.Runs[0].Variant)
		}
	}
	var request *RequestError
	for want, q := range map[string]analysis.CompareRequest{
		"want a day":           {A: "since=soon"},
		"no run can be":        {A: "since=today,until=yesterday"},
		"the sides overlap":    {A: "since=" + first, B: "until=" + first},
		`which stands for the`: {A: "since=" + second},
	} {
		x := twoDays()
		if strings.HasPrefix(want, "which") {
			x.Runs[5].Variant = "started=late"
		}
		if _, err := Compare(x, q, analysis.Prices{}, now); !errors.As(err, &request) || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", q, err, want)
		}
	}
}

// Where a side has no run, or the runs asked for are those of tomorrow, that is said, and when
// the runs were.
func TestCompareDaysWithoutRuns(t *testing.T) {
	now := morning.AddDate(0, 0, 1).Add(9 * time.Hour)
	span := "those selected did from " + morning.Add(8*time.Minute).Format("2006-01-02 15:04") + " to "
	for side, want := range map[string]string{
		"since=2020-01-01,until=2020-02-01": "no run started 2020-01-01 to 2020-02-01; " + span,
		"until=2020-01-01":                  "no run started until 2020-01-01; " + span,
		"since=tomorrow":                    "no run started since tomorrow, which lies in the future: it is " + now.Format("2006-01-02 15:04") + " now; " + span,
	} {
		_, err := Compare(twoDays(), analysis.CompareRequest{A: side}, analysis.Prices{}, now)
		if !errors.Is(err, analysis.ErrNoComparison) || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v\nwant %q", side, err, want)
		}
	}
	for since, want := range map[string]string{
		"yesterday": "", "": "", "now": "", "2h": "", now.Add(-time.Minute).Format("15:04"): "",
		"2031-01-01":                             "since 2031-01-01 lies in the future: it is ",
		now.Add(2 * time.Minute).Format("15:04"): fmt.Sprintf("; the day before is %q", now.AddDate(0, 0, -1).Add(2*time.Minute).Format("2006-01-02 15:04")),
	} {
		if got := (FilterRequest{Since: since}).Ahead(now); (got == "") != (want == "") || !strings.Contains(got, want) {
			t.Errorf("since %q: %q, want %q", since, got, want)
		}
	}
}
