package sentence

import (
	"fmt"
	"strings"

	"sweepd/analysis"
)

// Value says what the dearer of two devices buys.
func Value(currency string, v *analysis.DeviceValue) []Sentence {
	var l list
	money := func(n analysis.Number) string {
		return strings.TrimSpace(Watts(float64(n)) + " " + currency)
	}
	price := fmt.Sprintf("%s costs %s more than %s (%s against %s)", v.Dearer, money(v.PriceDifference), v.Cheaper, money(v.PriceDearer), money(v.PriceCheaper))
	o := v.Overall
	switch {
	case o == nil:
		return nil
	case !o.Told:
		places := PercentPlaces(o.Lower, o.Upper)
		l.tell(Doubtful, fmt.Sprintf("%s; whether it gives more over all shared settings cannot be told: %s %%%s.", price,
			SignedPercent(float64(o.Gain), places), Percents(o.Lower, o.Upper, places)))
	default:
		places := PercentPlaces(o.Lower, o.Upper)
		half := HalfWidth(o.PercentPer100Lower, o.PercentPer100Upper)
		each := min(Decimals(float64(o.PercentPer100), half), 2)
		l.tell(Good, fmt.Sprintf("%s and gives %s %%%s over all shared settings: %s %%%s for every 100 %s.", price,
			SignedPercent(float64(o.Gain), places), Percents(o.Lower, o.Upper, places),
			Fixed(float64(o.PercentPer100), each), Interval(o.PercentPer100Lower, o.PercentPer100Upper, each), strings.TrimSpace(currency+" of its surcharge")))
	}
	half := PercentPlaces(o.PerPriceLower, o.PerPriceUpper)
	l.say("Its result for the price is %s %%%s of the cheaper one's.", SignedPercent(float64(o.PerPrice), half), Percents(o.PerPriceLower, o.PerPriceUpper, half))
	if len(v.NotTold) > 0 {
		var where []string
		for _, s := range v.NotTold {
			where = append(where, Range(Setting(s.FromW, s.From), Setting(s.ToW, s.To)))
		}
		l.tell(Doubtful, Capital(strings.Join(where, ", "))+" it cannot be told whether it buys anything.")
	}
	return l
}
