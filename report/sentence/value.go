package sentence

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"sweepd/analysis"
)

// Value says what the difference of two devices in price goes with: as in their comparison,
// of side a as a share of side b. Where each is ahead somewhere, that is said, and the mean
// over the settings, which hides it, is left to the table.
func Value(currency string, v *analysis.DeviceValue) []Sentence {
	if v.Overall == nil {
		return nil
	}
	money := func(n analysis.Number) string {
		return strings.TrimSpace(Watts(float64(n)) + " " + currency)
	}
	price := fmt.Sprintf("%s costs %s more than %s (%s against %s)", v.A, money(v.PriceDifference), v.B, money(v.PriceDearer), money(v.PriceCheaper))
	if v.A == v.Cheaper {
		price = fmt.Sprintf("%s costs %s less than %s (%s against %s)", v.A, money(v.PriceDifference), v.B, money(v.PriceCheaper), money(v.PriceDearer))
	}
	var l list
	ahead, behind, open := verdictsWhere(v, analysis.VerdictA), verdictsWhere(v, analysis.VerdictB), verdictsWhere(v, analysis.VerdictUnclear)
	if len(ahead) > 0 && len(behind) > 0 {
		l.tell(Good, fmt.Sprintf("%s; it is ahead %s and behind %s.", price, listed(ahead), listed(behind)))
		l.forPriceBySetting(v)
	} else {
		l.priceOnTheMean(v, price, money(100))
		l.forPrice(v)
	}
	if len(open) > 0 {
		l.tell(Doubtful, Capital(listed(open))+" it cannot be told who is ahead.")
	}
	return l
}

// priceOnTheMean sets the mean difference beside that of the prices.
func (l *list) priceOnTheMean(v *analysis.DeviceValue, price, hundred string) {
	over := "on the mean over all shared settings"
	if v.Part {
		over = "on the mean over the settings that both keep to"
	}
	o := v.Overall
	switch o.Verdict {
	case analysis.VerdictTie:
		l.say("%s; the two are level within %s %% %s: %s.", price, Margin(v.Margin), over, signed(o.Diff, o.DiffLower, o.DiffUpper))
		return
	case analysis.VerdictUnclear:
		l.tell(Doubtful, fmt.Sprintf("%s; it cannot be told who is ahead %s: %s.", price, over, signed(o.Diff, o.DiffLower, o.DiffUpper)))
		return
	}
	each, lower, upper := o.DiffPer100, o.DiffPer100Lower, o.DiffPer100Upper
	if each < 0 {
		each, lower, upper = -each, -upper, -lower
	}
	places := min(Decimals(float64(each), HalfWidth(lower, upper)), threeDigits(float64(each)))
	c := &analysis.Comparison{Better: v.Better, Unit: v.Unit}
	l.tell(Good, fmt.Sprintf("%s and is %s %s; that is %s %%%s for each %s.", price, LeadOf(c, o.Diff, o.DiffLower, o.DiffUpper), over,
		Fixed(float64(each), places), Interval(lower, upper, places), hundred))
}

// verdictsWhere are the stretches of settings with a verdict, of those that both sides have
// and keep to.
func verdictsWhere(v *analysis.DeviceValue, verdict analysis.Verdict) []string {
	var where []string
	var first *analysis.ValuePoint
	for i := range v.Settings {
		s := &v.Settings[i]
		switch {
		case !s.Diff.Known():
			continue
		case s.Followed != nil && !*s.Followed, s.Verdict != verdict:
			first = nil
			continue
		case first == nil:
			first, where = s, append(where, "")
		}
		where[len(where)-1] = Range(Setting(first.SettingW, first.Setting), Setting(s.SettingW, s.Setting))
	}
	return where
}

// forPrice sets what side a gives for its price against what side b gives, on the mean.
func (l *list) forPrice(v *analysis.DeviceValue) {
	o := v.Overall
	d, lower, upper := o.ForPrice, o.ForPriceLower, o.ForPriceUpper
	word := moreOrLess(d)
	if d < 0 {
		d, lower, upper = -d, -upper, -lower
	}
	places := leadPlaces(d, lower, upper)
	l.say("For its price %s gives %s %%%s %s than %s%s.", v.A, Fixed(100*float64(d), places), Percents(lower, upper, places), word, v.B, turned(v))
}

// forPriceBySetting is forPrice from the setting where a gives least to that where it gives
// most.
func (l *list) forPriceBySetting(v *analysis.DeviceValue) {
	var known []analysis.ValuePoint
	for _, s := range v.Settings {
		if s.Diff.Known() && (s.Followed == nil || *s.Followed) {
			known = append(known, s)
		}
	}
	by := func(x, y analysis.ValuePoint) int { return cmp.Compare(x.ForPrice, y.ForPrice) }
	at := func(s analysis.ValuePoint) string {
		d, lower, upper := s.ForPrice, s.ForPriceLower, s.ForPriceUpper
		if d < 0 {
			d, lower, upper = -d, -upper, -lower
		}
		places := leadPlaces(d, lower, upper)
		return fmt.Sprintf("%s %%%s %s at %s", Fixed(100*float64(d), places), Percents(lower, upper, places), moreOrLess(s.ForPrice), Setting(s.SettingW, s.Setting))
	}
	l.say("For its price %s gives from %s to %s than %s%s.", v.A, at(slices.MinFunc(known, by)), at(slices.MaxFunc(known, by)), v.B, turned(v))
}

func moreOrLess(d analysis.Number) string {
	if d < 0 {
		return "less"
	}
	return "more"
}

// turned says that a result of which less is better is turned over: a share of the price
// needs one of which more is better.
func turned(v *analysis.DeviceValue) string {
	if v.Better != "lower" {
		return ""
	}
	return ", counting 1/(" + MetricName(v.Metric) + ") as the result"
}
