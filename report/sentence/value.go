package sentence

import (
	"fmt"
	"strings"

	"sweepd/analysis"
)

// Value says what the difference of two devices in price goes with: as in their comparison,
// of side a as a share of side b.
func Value(currency string, v *analysis.DeviceValue) []Sentence {
	o := v.Overall
	if o == nil {
		return nil
	}
	var l list
	money := func(n analysis.Number) string {
		return strings.TrimSpace(Watts(float64(n)) + " " + currency)
	}
	c := &analysis.Comparison{A: v.A, B: v.B, Better: v.Better, Unit: v.Unit}
	price := fmt.Sprintf("%s costs %s more than %s (%s against %s)", v.A, money(v.PriceDifference), v.B, money(v.PriceDearer), money(v.PriceCheaper))
	if v.A == v.Cheaper {
		price = fmt.Sprintf("%s costs %s less than %s (%s against %s)", v.A, money(v.PriceDifference), v.B, money(v.PriceCheaper), money(v.PriceDearer))
	}
	over := "all shared settings"
	if v.Part {
		over = "the settings that both keep to"
	}
	if !o.Significant {
		l.tell(Doubtful, fmt.Sprintf("%s; whether its result differs on the mean over %s cannot be told: %s.", price, over, signed(o.Diff, o.DiffLower, o.DiffUpper)))
	} else {
		each, lower, upper := o.DiffPer100, o.DiffPer100Lower, o.DiffPer100Upper
		if each < 0 {
			each, lower, upper = -each, -upper, -lower
		}
		places := min(Decimals(float64(each), HalfWidth(lower, upper)), threeDigits(float64(each)))
		l.tell(Good, fmt.Sprintf("%s and is %s on the mean over %s; that is %s %%%s for each %s.", price, LeadOf(c, o.Diff, o.DiffLower, o.DiffUpper), over,
			Fixed(float64(each), places), Interval(lower, upper, places), money(100)))
	}
	l.forPrice(v)
	l.otherWay(v)
	if len(v.NotSignificant) > 0 {
		var where []string
		for _, s := range v.NotSignificant {
			where = append(where, Range(Setting(s.FromW, s.From), Setting(s.ToW, s.To)))
		}
		l.tell(Doubtful, Capital(listed(where))+" it cannot be told whether there is a difference.")
	}
	return l
}

// otherWay says at which settings the other side is ahead than on the mean, which hides it.
func (l *list) otherWay(v *analysis.DeviceValue) {
	var where []string
	from := -1
	for i := range v.Settings {
		s := v.Settings[i]
		if !s.Significant || s.Followed != nil && !*s.Followed || (s.Gain < 0) == (v.Overall.Gain < 0) {
			from = -1
			continue
		}
		if from < 0 {
			from = i
			where = append(where, "")
		}
		first := v.Settings[from]
		where[len(where)-1] = Range(Setting(first.SettingW, first.Setting), Setting(s.SettingW, s.Setting))
	}
	if len(where) == 0 {
		return
	}
	side := "behind"
	if (v.Overall.Gain < 0) == (v.A == v.Dearer) { // a is behind on the mean
		side = "ahead"
	}
	l.tell(Doubtful, "But "+listed(where)+" "+v.A+" is "+side+".")
}

// forPrice sets what side a gives for its price against what side b gives.
func (l *list) forPrice(v *analysis.DeviceValue) {
	o := v.Overall
	d, lower, upper, word := o.ForPrice, o.ForPriceLower, o.ForPriceUpper, "more"
	if d < 0 {
		d, lower, upper, word = -d, -upper, -lower, "less"
	}
	places := leadPlaces(d, lower, upper)
	of := ""
	if v.Better == "lower" { // a share of the price needs a result of which more is better
		of = ", counting 1/(" + MetricName(v.Metric) + ") as the result"
	}
	l.say("For its price %s gives %s %%%s %s than %s%s.", v.A, Fixed(100*float64(d), places), Percents(lower, upper, places), word, v.B, of)
}
