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
		return analysis.ValuePoint{Significant: lower > 0 || upper < 0, Gain: d, Diff: d, DiffLower: lower, DiffUpper: upper, DiffPer100: per100, DiffPer100Lower: perLower, DiffPer100Upper: perUpper,
			ForPrice: forPrice, ForPriceLower: forLower, ForPriceUpper: forUpper}
	}
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
			first:    "unit-elm costs 200 EUR more than unit-oak (1000 EUR against 800 EUR); whether its result differs on the mean over all shared settings cannot be told: +0.5 % (-0.5 to 1.5).",
			forPrice: "19.6 % (18.8 to 20.4) less than unit-oak"},
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
			PriceDearer: max(c.a, c.b), PriceCheaper: min(c.a, c.b), PriceDifference: max(c.a, c.b) - min(c.a, c.b), Overall: &c.overall, Part: c.part}
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

// Where the other device is ahead although the mean over all settings hides it: next to each
// other as a stretch, only where it is more than noise and where both keep to the setting.
func TestValueSaysWhereTheOtherIsAhead(t *testing.T) {
	u := analysis.Unknown()
	no := false
	at := func(watts analysis.Number, name string, gain analysis.Number, significant bool) analysis.ValuePoint {
		return analysis.ValuePoint{SettingW: watts, Setting: name, Gain: gain, Significant: significant}
	}
	notKept := at(10, "", -0.1, true)
	notKept.Followed = &no
	for _, c := range []struct {
		name     string
		gain     analysis.Number
		settings []analysis.ValuePoint
		spans    []analysis.SettingSpan
		dearer   string
		want     []Sentence
	}{
		{"all as the whole", 0.1, []analysis.ValuePoint{at(10, "", 0.1, true), at(15, "", 0.2, true)}, nil, "unit-elm", nil},
		{"against it, but no more than noise", 0.1, []analysis.ValuePoint{at(10, "", -0.01, false)}, nil, "unit-elm", nil},
		{"where a side does not keep to the setting", 0.1, []analysis.ValuePoint{notKept}, nil, "unit-elm", nil},
		{"the cheaper, b, at one setting", 0.1, []analysis.ValuePoint{at(10, "", -0.1, true), at(15, "", 0.2, true)}, nil, "unit-elm",
			[]Sentence{{Doubtful, "But at 10 W unit-elm is behind."}}},
		{"the cheaper, a, at one setting", 0.1, []analysis.ValuePoint{at(10, "", -0.1, true), at(15, "", 0.2, true)}, nil, "unit-oak",
			[]Sentence{{Doubtful, "But at 10 W unit-elm is ahead."}}},
		{"the cheaper at a stretch and a setting", 0.1, []analysis.ValuePoint{at(10, "", -0.1, true), at(12, "", -0.2, true), at(15, "", -0.1, true), at(20, "", 0.2, true), at(25, "", -0.1, true)}, nil, "unit-elm",
			[]Sentence{{Doubtful, "But from 10 W to 15 W and at 25 W unit-elm is behind."}}},
		{"the dearer, by name", -0.1, []analysis.ValuePoint{at(u, "quiet", 0.1, true), at(u, "fast", -0.1, true)}, nil, "unit-elm",
			[]Sentence{{Doubtful, "But at quiet unit-elm is ahead."}}},
		{"one span that cannot be told", 0.1, nil, []analysis.SettingSpan{{FromW: 5, ToW: 5}}, "unit-elm",
			[]Sentence{{Doubtful, "At 5 W it cannot be told whether there is a difference."}}},
		{"three that cannot be told", 0.1, nil, []analysis.SettingSpan{{FromW: 5, ToW: 8}, {FromW: 15, ToW: 15}, {FromW: u, ToW: u, From: "quiet", To: "fast"}}, "unit-elm",
			[]Sentence{{Doubtful, "From 5 W to 8 W, at 15 W and from quiet to fast it cannot be told whether there is a difference."}}},
	} {
		v := &analysis.DeviceValue{A: "unit-elm", B: "unit-oak", Dearer: c.dearer, Overall: &analysis.ValuePoint{Gain: c.gain, Significant: true}, Settings: c.settings, NotSignificant: c.spans}
		if got := Value("EUR", v)[2:]; !slices.Equal(got, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}
