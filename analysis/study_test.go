package analysis

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// The study repeats the published operating characteristics by simulation: how
// often verdicts are wrong, how often a difference is found, how wide intervals
// are. A small seeded version runs with every test; `make study` runs it whole
// and prints our figures beside the published ones.
var (
	studyFull      = flag.Bool("study.full", false, "repeat the published tables whole and print them")
	studyCampaigns = flag.Int("study.campaigns", 1000, "simulated campaigns per figure of the full study")
)

// studySize is how many campaigns, curves or runs a study simulates for a figure:
// so many with every test, a fifth where tests are to be short.
func studySize(usual int) int {
	switch {
	case *studyFull:
		return *studyCampaigns
	case testing.Short():
		return usual / 5
	}
	return usual
}

// publishedCampaigns is how many campaigns stand behind a published figure.
const publishedCampaigns = 2000

// studyCurve is ln of the simulated result at a setting: it rises steeply and
// saturates.
func studyCurve(w float64) float64 { return math.Log(100 * (1 - math.Exp(-(w-2)/11))) }

// proportionTolerance is how far a proportion may lie from a published p: four
// standard errors of the difference, both being simulated; 0.005 for 0 and 1.
func proportionTolerance(p float64, campaigns int) float64 {
	if p == 0 || p == 1 {
		return 0.005
	}
	return 4 * math.Sqrt(p*(1-p)*(1.0/publishedCampaigns+1/float64(campaigns)))
}

// A figure is one number of a study beside the published one.
type figure struct {
	name            string
	got, published  float64
	tolerance       float64 // absolute
	printedDecimals int
}

// studyTable collects the figures of a study, a row at a time.
type studyTable struct {
	t    *testing.T
	text strings.Builder
	out  int
}

// row checks the figures of one row.
func (s *studyTable) row(label string, figures []figure) {
	s.t.Helper()
	fmt.Fprintf(&s.text, "%-14s", label)
	for _, f := range figures {
		mark := " "
		if !(math.Abs(f.got-f.published) <= f.tolerance) {
			mark = "!"
			s.out++
			s.t.Errorf("%s: %s = %.4g, published %.4g, tolerance %.2g", label, f.name, f.got, f.published, f.tolerance)
		}
		fmt.Fprintf(&s.text, " %s %.*f/%.*f%s", f.name, f.printedDecimals, f.got, f.printedDecimals, f.published, mark)
	}
	s.text.WriteByte('\n')
}

// print shows the table where the study is run whole: ours/published, a mark
// where the two are further apart than the tolerance.
func (s *studyTable) print(title string) {
	if *studyFull {
		fmt.Printf("%s\nours/published, ! outside the tolerance\n%s\n", title, s.text.String())
	}
}

// studyRandom is the source of one cell of a study, the same in every run.
func studyRandom(row, column int) *rand.Rand {
	return rand.New(rand.NewPCG(uint64(row), uint64(column)))
}

// pointer makes a value addressable.
func pointer[T any](v T) *T { return &v }

// studyStart is when simulated campaigns begin.
var studyStart = time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC)
