package analysis

// bands lists the maximal stretches of consecutive shared settings with one
// verdict. Nothing is smoothed over: an unclear setting between two of a's stays
// a band of its own. Settings that only one side has neither make nor break one.
func bands(shared []*contrast) []Band {
	list := []Band{}
	for from := 0; from < len(shared); {
		first := shared[from]
		var d, lower, upper, n float64
		b := Band{FromW: Number(first.watts), From: first.name, Verdict: first.verdict}
		for _, k := range shared[from:] {
			if k.verdict != first.verdict {
				break
			}
			d, lower, upper, n = d+k.d, lower+k.lower, upper+k.upper, n+1
			b.ToW, b.To = Number(k.watts), k.name
		}
		b.Diff, b.Lower, b.Upper = relative(d/n), relative(lower/n), relative(upper/n)
		list = append(list, b)
		from += int(n)
	}
	return list
}
