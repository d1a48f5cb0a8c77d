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
	o, over := v.Overall, "all shared settings"
	if v.Part {
		over = "the settings that both keep to"
	}
	switch {
	case o == nil:
		return nil
	case !o.Significant:
		places := PercentPlaces(o.Lower, o.Upper)
		l.tell(Doubtful, fmt.Sprintf("%s; whether it gives more over %s cannot be told: %s %%%s.", price, over,
			SignedPercent(float64(o.Gain), places), Percents(o.Lower, o.Upper, places)))
	default:
		places := PercentPlaces(o.Lower, o.Upper)
		half := HalfWidth(o.PercentPer100Lower, o.PercentPer100Upper)
		each := min(Decimals(float64(o.PercentPer100), half), 2)
		gain, lower, upper, word := o.Gain, o.Lower, o.Upper, "better"
		if gain < 0 {
			gain, lower, upper, word = -gain, -upper, -lower, "worse"
		}
		as := "" // the gain of a time is one of speed
		if v.Better == "lower" {
			as = " in 1/" + v.Metric
		}
		l.tell(Good, fmt.Sprintf("%s and is %s by %s %%%s%s over %s: %s %%%s for every 100 %s.", price, word,
			Fixed(100*float64(gain), places), Percents(lower, upper, places), as, over,
			Fixed(float64(o.PercentPer100), each), Interval(o.PercentPer100Lower, o.PercentPer100Upper, each), strings.TrimSpace(currency+" of its surcharge")))
	}
	l.perPrice(o)
	l.lost(v)
	if len(v.NotSignificant) > 0 {
		var where []string
		for _, s := range v.NotSignificant {
			where = append(where, Range(Setting(s.FromW, s.From), Setting(s.ToW, s.To)))
		}
		l.tell(Doubtful, Capital(listed(where))+" it cannot be told whether its gain is more than noise.")
	}
	return l
}

// lost says at which settings the verdict is the opposite of that over all settings,
// which as a mean hides it.
func (l *list) lost(v *analysis.DeviceValue) {
	var where []string
	from := -1
	against := func(i int) bool {
		s := v.Settings[i]
		return s.Significant && (s.Gain < 0) != (v.Overall.Gain < 0)
	}
	for i := range v.Settings {
		if !against(i) {
			from = -1
			continue
		}
		if from < 0 {
			from = i
			where = append(where, "")
		}
		first, last := v.Settings[from], v.Settings[i]
		where[len(where)-1] = Range(Setting(first.SettingW, first.Setting), Setting(last.SettingW, last.Setting))
	}
	if len(where) == 0 {
		return
	}
	winner := v.Cheaper
	if v.Overall.Gain < 0 {
		winner = v.Dearer
	}
	l.tell(Doubtful, Capital(strings.Join(where, ", "))+" "+winner+" is ahead all the same.")
}

// perPrice sets the result for the price of the dearer device against that of the
// cheaper one.
func (l *list) perPrice(o *analysis.ValuePoint) {
	d, lower, upper, word := o.PerPrice, o.PerPriceLower, o.PerPriceUpper, "above"
	if d < 0 {
		d, lower, upper, word = -d, -upper, -lower, "below"
	}
	places := PercentPlaces(lower, upper)
	l.say("What it gives for its price is %s %%%s %s what the cheaper one gives for its own.", Fixed(100*float64(d), places), Percents(lower, upper, places), word)
}
