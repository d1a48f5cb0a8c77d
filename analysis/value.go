package analysis

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

// Prices are what devices cost, by name, in one currency.
type Prices struct {
	Currency string // as it is to be shown, for example "EUR"; may be empty
	ByDevice map[string]float64
}

// ValueResult is what dearer devices buy: one value for each comparison between
// two devices of known and different price.
type ValueResult struct {
	Currency string        `json:"currency"`
	Values   []DeviceValue `json:"values"`
	Notes    []Note        `json:"-"` // worded by whoever writes JSON
}

// DeviceValue is what the dearer of two devices buys in one workload.
type DeviceValue struct {
	Metric          string  `json:"metric"`
	Unit            string  `json:"unit"`
	Better          string  `json:"better"`
	Workload        string  `json:"workload"`
	Supply          string  `json:"supply"`  // "" where the sides differ in it
	Variant         string  `json:"variant"` // "" where the sides differ in it
	A               string  `json:"a"`       // the sides of the comparison
	B               string  `json:"b"`
	Dearer          string  `json:"dearer"`  // the side as the comparison names it
	Cheaper         string  `json:"cheaper"` // the side as the comparison names it
	PriceDearer     Number  `json:"price_dearer"`
	PriceCheaper    Number  `json:"price_cheaper"`
	PriceDifference Number  `json:"price_difference"`
	Margin          float64 `json:"margin"`     // relative difference that does not matter
	Confidence      float64 `json:"confidence"` // of the bounds of all settings together, and of overall by itself
	Part            bool    `json:"-"`          // overall leaves settings out that a side does not keep to

	Settings       []ValuePoint  `json:"settings"`
	Overall        *ValuePoint   `json:"overall"` // nil without a shared setting
	NotSignificant []SettingSpan `json:"not_told"`
}

// ValuePoint is the difference at one setting against the prices. Diff is a/b - 1 as the
// comparison has it, with its bounds; DiffPer100 is it in percent for each 100 units that a
// costs more than b (or less: both are negative then), and ForPrice is by how much a gives
// more for its price than b for its own, the result of a over its price over that of b,
// less 1. Where less is better the result is turned over for ForPrice: 1/result.
//
// The rest is the same, seen from the dearer device. Gain is the result of the dearer device
// over that of the cheaper, less 1, turned so that positive is better for metrics
// of either direction; Lower and Upper are the bounds of the comparison.
// PercentPer100 is the gain in percent for each 100 units of the price
// difference, PerPrice the result per price of the dearer over that of the
// cheaper, less 1: negative where the gain is smaller than the surcharge.
type ValuePoint struct {
	SettingW           Number `json:"setting_w"`
	Setting            string `json:"setting"`
	Gain               Number `json:"gain"`
	Lower              Number `json:"lower"`
	Upper              Number `json:"upper"`
	PercentPer100      Number `json:"percent_per_100"`
	PercentPer100Lower Number `json:"percent_per_100_lower"`
	PercentPer100Upper Number `json:"percent_per_100_upper"`
	PerPrice           Number `json:"per_price"`
	PerPriceLower      Number `json:"per_price_lower"`
	PerPriceUpper      Number `json:"per_price_upper"`
	Significant        bool   `json:"told"` // the gain, or loss, is more than noise

	Verdict         Verdict `json:"verdict"` // of the comparison
	Diff            Number  `json:"diff"`
	DiffLower       Number  `json:"diff_lower"`
	DiffUpper       Number  `json:"diff_upper"`
	DiffPer100      Number  `json:"diff_per_100"`
	DiffPer100Lower Number  `json:"diff_per_100_lower"`
	DiffPer100Upper Number  `json:"diff_per_100_upper"`
	ForPrice        Number  `json:"for_price"`
	ForPriceLower   Number  `json:"for_price_lower"`
	ForPriceUpper   Number  `json:"for_price_upper"`
	Followed        *bool   `json:"followed"` // both sides keep to the setting; nil where that is not known, and of overall
}

// SettingSpan is a stretch of consecutive shared settings.
type SettingSpan struct {
	FromW Number `json:"from_w"`
	ToW   Number `json:"to_w"`
	From  string `json:"from"` // names where the watts are unknown
	To    string `json:"to"`
}

// Value sets the differences of a comparison against prices. Comparisons that are
// not between two devices, or whose prices are unknown or equal, are named in
// notes. It fails if a price is not a positive number.
func Value(compared CompareResult, prices Prices) (ValueResult, error) {
	for _, device := range slices.Sorted(maps.Keys(prices.ByDevice)) {
		if p := prices.ByDevice[device]; !usable(p) {
			return ValueResult{}, fmt.Errorf("value: the price of %s is %v: give a number above 0", device, p)
		}
	}
	result := ValueResult{Currency: prices.Currency, Values: []DeviceValue{}, Notes: []Note{}}
	note := func(n Note) { addNote(&result.Notes, n) }
	for i := range compared.Comparisons {
		c := compared.Comparisons[i].Kept()
		a, b := c.pair.a.Device, c.pair.b.Device
		priceA, knownA := prices.ByDevice[a]
		priceB, knownB := prices.ByDevice[b]
		switch {
		case a == b:
			note(Note{Code: NoteOneDevice, A: NoteSide{Side: c.A}, B: NoteSide{Side: c.B}})
		case !knownA:
			note(Note{Code: NotePriceUnknown, Name: a})
		case !knownB:
			note(Note{Code: NotePriceUnknown, Name: b})
		case priceA == priceB:
			note(Note{Code: NoteSamePrice, A: NoteSide{Side: a}, B: NoteSide{Side: b}})
		default:
			result.Values = append(result.Values, deviceValue(c, priceA, priceB))
		}
	}
	return result, nil
}

func deviceValue(c Comparison, priceA, priceB float64) DeviceValue {
	v := DeviceValue{
		Metric: c.Metric, Unit: c.Unit, Better: c.Better, Workload: c.Workload, Margin: c.Margin, Confidence: c.Confidence, Part: c.Part,
		A: c.A, B: c.B, Dearer: c.A, Cheaper: c.B, Settings: []ValuePoint{}, NotSignificant: []SettingSpan{},
	}
	surcharge := surcharge{a: priceA, b: priceB, lower: c.Better == "lower"}
	if c.Supply != nil {
		v.Supply = *c.Supply
	}
	if c.Variant != nil {
		v.Variant = *c.Variant
	}
	if priceB > priceA {
		v.Dearer, v.Cheaper = c.B, c.A
	}
	v.PriceDearer, v.PriceCheaper = Number(max(priceA, priceB)), Number(min(priceA, priceB))
	v.PriceDifference = v.PriceDearer - v.PriceCheaper
	for _, s := range c.Settings {
		p := surcharge.point(s.Diff, s.Lower, s.Upper, s.Verdict)
		p.SettingW, p.Setting, p.Followed = s.SettingW, s.Setting, s.Followed
		v.Settings = append(v.Settings, p)
	}
	if o := c.Overall; o != nil {
		p := surcharge.point(o.Diff, o.Lower, o.Upper, o.Verdict)
		p.SettingW = Unknown()
		v.Overall = &p
	}
	v.NotSignificant = notSignificant(v.Settings)
	return v
}

// surcharge turns differences a/b - 1 into what the dearer one buys, by their prices.
type surcharge struct {
	a, b  float64
	lower bool // less is better
}

// point carries a difference and its bounds over. Every step is monotone, so the
// bounds keep their confidence.
func (s surcharge) point(diff, lower, upper Number, verdict Verdict) ValuePoint {
	p := s.ofA(diff, lower, upper)
	p.Verdict = verdict
	dearer, cheaper := max(s.a, s.b), min(s.a, s.b)
	if s.lower != (s.b > s.a) { // the gain is b/a - 1
		diff, lower, upper = turnedOver(diff), turnedOver(upper), turnedOver(lower)
	}
	per100 := func(gain Number) Number { return 100 * gain / Number((dearer-cheaper)/100) }
	perPrice := func(gain Number) Number { return (1+gain)*Number(cheaper/dearer) - 1 }
	p.Gain, p.Lower, p.Upper = diff, lower, upper
	p.PercentPer100, p.PercentPer100Lower, p.PercentPer100Upper = per100(diff), per100(lower), per100(upper)
	p.PerPrice, p.PerPriceLower, p.PerPriceUpper = perPrice(diff), perPrice(lower), perPrice(upper)
	p.Significant = (lower > 0 || upper < 0) && verdict != VerdictUnclear
	return p
}

// ofA is the part of a point that is seen from a.
func (s surcharge) ofA(diff, lower, upper Number) ValuePoint {
	p := ValuePoint{Diff: diff, DiffLower: lower, DiffUpper: upper}
	per100 := func(d Number) Number { return 100 * d / Number((s.a-s.b)/100) }
	p.DiffPer100, p.DiffPer100Lower, p.DiffPer100Upper = per100(diff), per100(lower), per100(upper)
	if s.a < s.b {
		p.DiffPer100Lower, p.DiffPer100Upper = p.DiffPer100Upper, p.DiffPer100Lower
	}
	if s.lower {
		diff, lower, upper = turnedOver(diff), turnedOver(upper), turnedOver(lower)
	}
	forPrice := func(d Number) Number { return (1+d)*Number(s.b/s.a) - 1 }
	p.ForPrice, p.ForPriceLower, p.ForPriceUpper = forPrice(diff), forPrice(lower), forPrice(upper)
	return p
}

// turnedOver turns a/b - 1 into b/a - 1.
func turnedOver(d Number) Number { return -d / (1 + d) }

// notSignificant lists the stretches of shared settings where nothing can be told.
// Settings that only one side has neither make nor break one; those that a side does not
// keep to are none.
func notSignificant(points []ValuePoint) []SettingSpan {
	spans := []SettingSpan{}
	open := false
	for _, p := range points {
		if math.IsNaN(float64(p.Gain)) {
			continue
		}
		switch {
		case p.Significant, p.Followed != nil && !*p.Followed:
			open = false
		case open:
			last := &spans[len(spans)-1]
			last.ToW, last.To = p.SettingW, p.Setting
		default:
			open = true
			spans = append(spans, SettingSpan{p.SettingW, p.SettingW, p.Setting, p.Setting})
		}
	}
	return spans
}
