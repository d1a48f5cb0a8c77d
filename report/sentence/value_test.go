package sentence

import (
	"slices"
	"testing"

	"sweepd/analysis"
)

// What a price goes with. The difference is a/b - 1 as the comparison has it, whichever
// side is dearer; for each 100 it is that over the difference of prices; what a gives for its
// price is a/b x price of b / price of a - 1, of 1/result where less is better.
func TestValueSays(t *testing.T) {
	point := func(d, lower, upper, per100, perLower, perUpper, forPrice, forLower, forUpper analysis.Number) analysis.ValuePoint {
		verdict := analysis.VerdictUnclear
		if lower > 0 || upper < 0 {
			verdict = analysis.VerdictA // whichever
		}
		return analysis.ValuePoint{Verdict: verdict, Diff: d, DiffLower: lower, DiffUpper: upper, DiffPer100: per100, DiffPer100Lower: perLower, DiffPer100Upper: perUpper,
			ForPrice: forPrice, ForPriceLower: forLower, ForPriceUpper: forUpper}
	}
	level := point(0.0097, 0.0082, 0.0112, 0, 0, 0, -0.19224, -0.1935, -0.1911)
	level.Verdict = analysis.VerdictTie
	for _, c := range []struct {
		name, currency, better, unit string
		a, b                         analysis.Number
		overall                      analysis.ValuePoint
		part                         bool
		first, forPrice              string
		tone                         Tone
	}{
		{name: "10 % more for 200", currency: "EUR", a: 800, b: 600, overall: point(0.10, 0.08, 0.12, 5, 4, 6, -0.175, -0.19, -0.16), tone: Good, // 1.10, 1.08 and 1.12 x 3/4
			first:    "unit-elm costs 200 EUR more than unit-oak (800 EUR against 600 EUR) and is ahead by 10.0 % (8.0 to 12.0) on the mean over all shared settings; that is 5.0 % (4.0 to 6.0) for each 100 EUR.",
			forPrice: "17.5 % (16.0 to 19.0) less than unit-oak"},
		{name: "10 % less for 200 less", currency: "EUR", a: 600, b: 800, overall: point(-0.10, -0.14, -0.08, 5, 4, 7, 0.2, 0.147, 0.227), tone: Good, part: true, // 0.90, 0.86 and 0.92 x 4/3
			first:    "unit-elm costs 200 EUR less than unit-oak (600 EUR against 800 EUR) and is behind by 10.0 % (8.0 to 14.0) on the mean over the settings that both keep to; that is 5.0 % (4.0 to 7.0) for each 100 EUR.",
			forPrice: "20.0 % (14.7 to 22.7) more than unit-oak"},
		{name: "a loss for 200 more", currency: "EUR", a: 800, b: 600, overall: point(-0.10, -0.14, -0.08, -5, -7, -4, -0.325, -0.355, -0.31), tone: Good, // x 3/4
			first:    "unit-elm costs 200 EUR more than unit-oak (800 EUR against 600 EUR) and is behind by 10.0 % (8.0 to 14.0) on the mean over all shared settings; that is 5.0 % (4.0 to 7.0) for each 100 EUR.",
			forPrice: "32.5 % (31.0 to 35.5) less than unit-oak"},
		{name: "no more than noise", currency: "EUR", a: 1000, b: 800, overall: point(0.005, -0.005, 0.015, 0.25, -0.25, 0.75, -0.196, -0.204, -0.188), tone: Doubtful, // x 4/5
			first:    "unit-elm costs 200 EUR more than unit-oak (1000 EUR against 800 EUR); it cannot be told who is ahead on the mean over all shared settings: +0.5 % (-0.5 to 1.5).",
			forPrice: "19.6 % (18.8 to 20.4) less than unit-oak"},
		{name: "level", currency: "EUR", a: 1000, b: 800, overall: level, // x 4/5
			first:    "unit-elm costs 200 EUR more than unit-oak (1000 EUR against 800 EUR); the two are level within 2 % on the mean over all shared settings: +0.97 % (0.82 to 1.12).",
			forPrice: "19.2 % (19.1 to 19.4) less than unit-oak"},
		{name: "a time without a currency", better: "lower", unit: "s", a: 600, b: 500, overall: point(-0.2, -0.204, -0.196, -20, -20.4, -19.6, 0.0417, 0.0365, 0.0469), tone: Good, // 1/0.8 x 5/6
			first:    "unit-elm costs 100 more than unit-oak (600 against 500) and is ahead, with 20.0 % less time (19.6 to 20.4) on the mean over all shared settings; that is 20.0 % (19.6 to 20.4) for each 100.",
			forPrice: "4.2 % (3.6 to 4.7) more than unit-oak, counting 1/(time taken) as the result"},
		{name: "a high price: two decimals at the most", currency: "EUR", a: 11000, b: 1000, overall: point(0.10, 0.09, 0.11, 0.1, 0.09, 0.11, -0.9, -0.9009, -0.8991), tone: Good, // / 11
			first:    "unit-elm costs 10000 EUR more than unit-oak (11000 EUR against 1000 EUR) and is ahead by 10.0 % (9.0 to 11.0) on the mean over all shared settings; that is 0.10 % (0.09 to 0.11) for each 100 EUR.",
			forPrice: "90.0 % (89.9 to 90.1) less than unit-oak"},
		{name: "as much for its price", currency: "EUR", a: 1100, b: 1000, overall: point(0.10, 0.078, 0.122, 10, 7.8, 12.2, 0, -0.02, 0.02), tone: Good, // / 1.1
			first:    "unit-elm costs 100 EUR more than unit-oak (1100 EUR against 1000 EUR) and is ahead by 10.0 % (7.8 to 12.2) on the mean over all shared settings; that is 10.0 % (7.8 to 12.2) for each 100 EUR.",
			forPrice: "0.0 % (-2.0 to 2.0) more than unit-oak"},
	} {
		v := &analysis.DeviceValue{Metric: "duration", Unit: c.unit, Better: c.better, A: "unit-elm", B: "unit-oak", Dearer: "unit-elm", Cheaper: "unit-oak",
			PriceDearer: max(c.a, c.b), PriceCheaper: min(c.a, c.b), PriceDifference: max(c.a, c.b) - min(c.a, c.b), Overall: &c.overall, Part: c.part, Margin: 0.02}
		if c.a < c.b {
			v.Dearer, v.Cheaper = "unit-oak", "unit-elm"
		}
		want := []Sentence{{c.tone, c.first}, {Plain, "For its price unit-elm gives " + c.forPrice + "."}}
		if got := Value(c.currency, v); !slices.Equal(got, want) {
			t.Errorf("%s:\n got %v\nwant %v", c.name, got, want)
		}
	}
	if got := Value("EUR", &analysis.DeviceValue{Dearer: "unit-elm", Cheaper: "unit-oak"}); len(got) != 0 {
		t.Errorf("without a shared setting: %v", got)
	}
}

// Where each is ahead somewhere, that is said in place of the mean: next to each other as a
// stretch, only where both keep to the setting. What is level is not called open.
func TestValueSaysWhereWhoIsAhead(t *testing.T) {
	const a, b, tie, open = analysis.VerdictA, analysis.VerdictB, analysis.VerdictTie, analysis.VerdictUnclear
	const cost = "unit-elm costs 100 EUR more than unit-oak (600 EUR against 500 EUR)"
	const mean = cost + " and is ahead by 10.0 % (8.0 to 12.0) on the mean over all shared settings; that is 10.0 % (8.0 to 12.0) for each 100 EUR."
	const forPrice = "For its price unit-elm gives 8.3 % (6.7 to 10.0) less than unit-oak."
	u := analysis.Unknown()
	no := false
	at := func(watts analysis.Number, name string, v analysis.Verdict, forPrice analysis.Number) analysis.ValuePoint {
		return analysis.ValuePoint{SettingW: watts, Setting: name, Verdict: v, ForPrice: forPrice, ForPriceLower: forPrice - 0.01, ForPriceUpper: forPrice + 0.01}
	}
	notKept := at(10, "", b, -0.3)
	notKept.Followed = &no
	onlyB := at(12, "", open, u)
	onlyB.Diff = u
	for _, c := range []struct {
		name     string
		settings []analysis.ValuePoint
		want     []string
	}{
		{"all as the mean", []analysis.ValuePoint{at(10, "", a, 0), at(15, "", a, 0)}, []string{mean, forPrice}},
		{"against it where a side does not keep to the setting", []analysis.ValuePoint{notKept, at(15, "", a, 0)}, []string{mean, forPrice}},
		{"open and level settings", []analysis.ValuePoint{at(5, "", open, 0), onlyB, at(8, "", open, 0), at(10, "", tie, 0), at(15, "", a, 0), at(u, "quiet", open, 0)},
			[]string{mean, forPrice, "From 5 W to 8 W and at quiet it cannot be told who is ahead."}},
		{"behind at a stretch and a setting", []analysis.ValuePoint{at(10, "", b, -0.3), at(12, "", b, -0.25), at(15, "", a, -0.05), at(20, "", b, -0.2), at(25, "", open, -0.1)},
			[]string{cost + "; it is ahead at 15 W and behind from 10 W to 12 W and at 20 W.", "For its price unit-elm gives from 30.0 % (29.0 to 31.0) less at 10 W to 5.0 % (4.0 to 6.0) less at 15 W than unit-oak.", "At 25 W it cannot be told who is ahead."}},
		{"more for its price somewhere", []analysis.ValuePoint{at(10, "", b, -0.3), at(12, "", a, 0.04)},
			[]string{cost + "; it is ahead at 12 W and behind at 10 W.", "For its price unit-elm gives from 30.0 % (29.0 to 31.0) less at 10 W to 4.0 % (3.0 to 5.0) more at 12 W than unit-oak."}},
	} {
		v := &analysis.DeviceValue{A: "unit-elm", B: "unit-oak", Dearer: "unit-elm", Cheaper: "unit-oak", PriceDearer: 600, PriceCheaper: 500, PriceDifference: 100, Settings: c.settings, Margin: 0.02,
			Overall: &analysis.ValuePoint{Verdict: a, Diff: 0.1, DiffLower: 0.08, DiffUpper: 0.12, DiffPer100: 10, DiffPer100Lower: 8, DiffPer100Upper: 12, ForPrice: -0.0833, ForPriceLower: -0.1, ForPriceUpper: -0.0667}}
		if got := texts(Value("EUR", v)); !slices.Equal(got, c.want) {
			t.Errorf("%s:\n got %q\nwant %q", c.name, got, c.want)
		}
	}
}
