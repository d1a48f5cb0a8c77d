package analysis

// bands lists the maximal stretches of consecutive shared settings with one
// verdict. Nothing is smoothed over: an unclear setting between two of a's stays
// a band of its own. Settings that only one side has neither make nor break one.
func bands(shared []*contrast) []Band {
	list := []Band{}
	for i, k := range shared {
		if i == 0 || k.verdict != shared[i-1].verdict {
			list = append(list, Band{FromW: Number(k.watts), From: k.name, Verdict: k.verdict})
		}
		last := &list[len(list)-1]
		last.ToW, last.To = Number(k.watts), k.name
	}
	return list
}
