package sentence

import (
	"slices"
	"testing"

	"sweepd/analysis"
)

// What a surcharge buys. A gain per 100 is the gain over the difference of prices; what
// is got for the price is (1 + gain) x cheaper / dearer - 1, and so are its bounds.
func TestValueSays(t *testing.T) {
	for _, c := range []struct {
		name, currency, better   string
		dearer, cheaper, surplus analysis.Number
		overall                  analysis.ValuePoint
		first, forPrice          string
		tone                     Tone
	}{
		{name: "a gain of 10 % for 200", currency: "EUR", dearer: 800, cheaper: 600, surplus: 200, // 1.10, 1.08 and 1.12 x 3/4
			overall: analysis.ValuePoint{Significant: true, Gain: 0.10, Lower: 0.08, Upper: 0.12, PercentPer100: 5, PercentPer100Lower: 4, PercentPer100Upper: 6, PerPrice: -0.175, PerPriceLower: -0.19, PerPriceUpper: -0.16},
			tone:    Good, first: "unit-elm costs 200 EUR more than unit-oak (800 EUR against 600 EUR) and is better by 10.0 % (8.0 to 12.0) over all shared settings: 5.0 % (4.0 to 6.0) for every 100 EUR of its surcharge.",
			forPrice: "17.5 % (16.0 to 19.0) below"},
		{name: "a loss", currency: "EUR", dearer: 800, cheaper: 600, surplus: 200, // 0.90, 0.86 and 0.92 x 3/4
			overall: analysis.ValuePoint{Significant: true, Gain: -0.10, Lower: -0.14, Upper: -0.08, PercentPer100: -5, PercentPer100Lower: -7, PercentPer100Upper: -4, PerPrice: -0.325, PerPriceLower: -0.355, PerPriceUpper: -0.31},
			tone:    Good, first: "unit-elm costs 200 EUR more than unit-oak (800 EUR against 600 EUR) and is worse by 10.0 % (8.0 to 14.0) over all shared settings: -5.0 % (-7.0 to -4.0) for every 100 EUR of its surcharge.",
			forPrice: "32.5 % (31.0 to 35.5) below"},
		{name: "no more than noise", currency: "EUR", dearer: 1000, cheaper: 800, surplus: 200, // 1.005, 0.995 and 1.015 x 4/5
			overall: analysis.ValuePoint{Gain: 0.005, Lower: -0.005, Upper: 0.015, PercentPer100: 0.25, PercentPer100Lower: -0.25, PercentPer100Upper: 0.75, PerPrice: -0.196, PerPriceLower: -0.204, PerPriceUpper: -0.188},
			tone:    Doubtful, first: "unit-elm costs 200 EUR more than unit-oak (1000 EUR against 800 EUR); whether it gives more over all shared settings cannot be told: +0.5 % (-0.5 to 1.5).",
			forPrice: "19.6 % (18.8 to 20.4) below"},
		{name: "a time without a currency, narrow bounds", better: "lower", dearer: 600, cheaper: 500, surplus: 100, // 1.5, 1.498 and 1.502 x 5/6
			overall: analysis.ValuePoint{Significant: true, Gain: 0.5, Lower: 0.498, Upper: 0.502, PercentPer100: 50, PercentPer100Lower: 49.8, PercentPer100Upper: 50.2, PerPrice: 0.25, PerPriceLower: 0.24833, PerPriceUpper: 0.25167},
			tone:    Good, first: "unit-elm costs 100 more than unit-oak (600 against 500) and is better by 50.00 % (49.80 to 50.20) in 1/duration over all shared settings: 50.00 % (49.80 to 50.20) for every 100 of its surcharge.",
			forPrice: "25.00 % (24.83 to 25.17) above"},
		{name: "a high price: two decimals at the most", currency: "EUR", dearer: 11000, cheaper: 1000, surplus: 10000, // 1.10, 1.09 and 1.11 / 11
			overall: analysis.ValuePoint{Significant: true, Gain: 0.10, Lower: 0.09, Upper: 0.11, PercentPer100: 0.1, PercentPer100Lower: 0.09, PercentPer100Upper: 0.11, PerPrice: -0.9, PerPriceLower: -0.9009, PerPriceUpper: -0.8991},
			tone:    Good, first: "unit-elm costs 10000 EUR more than unit-oak (11000 EUR against 1000 EUR) and is better by 10.0 % (9.0 to 11.0) over all shared settings: 0.10 % (0.09 to 0.11) for every 100 EUR of its surcharge.",
			forPrice: "90.00 % (89.91 to 90.09) below"},
		{name: "as much for its price", currency: "EUR", dearer: 1100, cheaper: 1000, surplus: 100, // 1.10, 1.078 and 1.122 / 1.1
			overall: analysis.ValuePoint{Significant: true, Gain: 0.10, Lower: 0.078, Upper: 0.122, PercentPer100: 10, PercentPer100Lower: 7.8, PercentPer100Upper: 12.2, PerPrice: 0, PerPriceLower: -0.02, PerPriceUpper: 0.02},
			tone:    Good, first: "unit-elm costs 100 EUR more than unit-oak (1100 EUR against 1000 EUR) and is better by 10.0 % (7.8 to 12.2) over all shared settings: 10.0 % (7.8 to 12.2) for every 100 EUR of its surcharge.",
			forPrice: "0.0 % (-2.0 to 2.0) above"},
	} {
		v := &analysis.DeviceValue{Metric: "duration", Better: c.better, Dearer: "unit-elm", Cheaper: "unit-oak", PriceDearer: c.dearer, PriceCheaper: c.cheaper, PriceDifference: c.surplus, Overall: &c.overall}
		want := []Sentence{{c.tone, c.first}, {Plain, "What it gives for its price is " + c.forPrice + " what the cheaper one gives for its own."}}
		if got := Value(c.currency, v); !slices.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", c.name, got, want)
		}
	}
	if got := Value("EUR", &analysis.DeviceValue{Dearer: "unit-elm", Cheaper: "unit-oak"}); len(got) != 0 {
		t.Errorf("without a shared setting: %v", got)
	}
}

// Where the other device is ahead although the mean over all settings hides it: next
// to each other as a stretch, and only where it is more than noise.
func TestValueSaysWhereTheOtherIsAhead(t *testing.T) {
	u := analysis.Unknown()
	at := func(watts analysis.Number, name string, gain analysis.Number, significant bool) analysis.ValuePoint {
		return analysis.ValuePoint{SettingW: watts, Setting: name, Gain: gain, Significant: significant}
	}
	for _, c := range []struct {
		name     string
		gain     analysis.Number
		settings []analysis.ValuePoint
		spans    []analysis.SettingSpan
		want     []Sentence
	}{
		{"all as the whole", 0.1, []analysis.ValuePoint{at(10, "", 0.1, true), at(15, "", 0.2, true)}, nil, nil},
		{"against it, but no more than noise", 0.1, []analysis.ValuePoint{at(10, "", -0.01, false)}, nil, nil},
		{"the cheaper at one setting", 0.1, []analysis.ValuePoint{at(10, "", -0.1, true), at(15, "", 0.2, true)}, nil,
			[]Sentence{{Doubtful, "At 10 W unit-oak is ahead all the same."}}},
		{"the cheaper at a stretch and a setting", 0.1, []analysis.ValuePoint{at(10, "", -0.1, true), at(12, "", -0.2, true), at(15, "", -0.1, true), at(20, "", 0.2, true), at(25, "", -0.1, true)}, nil,
			[]Sentence{{Doubtful, "From 10 W to 15 W, at 25 W unit-oak is ahead all the same."}}},
		{"the dearer, by name", -0.1, []analysis.ValuePoint{at(u, "quiet", 0.1, true), at(u, "fast", -0.1, true)}, nil,
			[]Sentence{{Doubtful, "At quiet unit-elm is ahead all the same."}}},
		{"one span that cannot be told", 0.1, nil, []analysis.SettingSpan{{FromW: 5, ToW: 5}},
			[]Sentence{{Doubtful, "At 5 W it cannot be told whether its gain is more than noise."}}},
		{"three that cannot be told", 0.1, nil, []analysis.SettingSpan{{FromW: 5, ToW: 8}, {FromW: 15, ToW: 15}, {FromW: u, ToW: u, From: "quiet", To: "fast"}},
			[]Sentence{{Doubtful, "From 5 W to 8 W, at 15 W and from quiet to fast it cannot be told whether its gain is more than noise."}}},
	} {
		v := &analysis.DeviceValue{Dearer: "unit-elm", Cheaper: "unit-oak", Overall: &analysis.ValuePoint{Gain: c.gain, Significant: true}, Settings: c.settings, NotSignificant: c.spans}
		if got := Value("EUR", v)[2:]; !slices.Equal(got, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}
