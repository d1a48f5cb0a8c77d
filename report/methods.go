package report

// Method is one part of the methods in plain words, with where it comes from.
type Method struct{ Title, Text, Source string }

// methods say how the numbers came about, so that a critic can check them.
func methods() []Method {
	return []Method{
		{"Which runs count", "All finished runs that nobody rejected. No run is left out because of its result: a run that differs from its repeats is named, and counts until a person rejects it with a reason. Rejected runs stay in the list below with that reason.", ""},
		{"Means", "Results are compared as ratios, so means are geometric: the mean of the logarithms, taken back. Runs on one device taken in whole passes lose the shift that all runs of a pass share.", "Fleming & Wallace 1986; Cochran & Cox 1957"},
		{"Noise", "How much one run differs from the next comes from the repeats at all settings together, so that few runs at a setting suffice; a setting whose repeats scatter unlike the others speaks for itself. With few repeats the roughness of the curve helps.", "Gasser, Sroka & Jennen-Steinmetz 1986; Davies & Gather 1993; Goldfeld & Quandt 1965"},
		{"Who is ahead", "The bounds of a difference hold at all settings together with the stated confidence: the more settings are compared, the wider they are. A side is ahead where its bounds leave out zero, the two are level where the bounds lie inside the margin, and elsewhere it cannot be told.", "Stoline & Ury 1979; Welch 1947; Satterthwaite 1946; Schuirmann 1987; Berger & Hsu 1996"},
		{"Where the lead changes", "The interval of a crossing holds every setting at which the difference of the two curves could be zero.", "Fieller 1954"},
		{"How many more runs", "As many further runs on each side as would find a difference of 3 % with a chance of 80 %; where the runs at hand suffice for that, as many as would tell the small difference found from zero or from the margin.", ""},
		{"Which settings the device follows", "The measured package power against the setting is fitted by a floor, a straight part and a cap; without that sensor the results alone can show ignored low settings.", "Hudson 1966; Schwarz 1978"},
		{"Most per watt", "Result over watts at each setting the device follows. The plateau is the unbroken stretch around the best setting that loses less than 5 % or cannot be told from the best.", "Hsu 1984"},
		{"Enough, and the bend", "Enough is the smallest setting that reaches 95 % of the best result, on the curve made to rise; the bend is where the curve has gained most for the least watts. Both describe the settings tested and have no interval.", "Barlow, Bartholomew, Bremner & Brunk 1972; Satopää, Albrecht, Irwin & Raghavan 2011"},
		{"Off the trend", "A setting is called off the trend if its result lies below that of its neighbours by more than chance, adjusted for the number of settings looked at.", "Holm 1979"},
		{"Runtime", "The energy of a full battery, less the reserve, over the mean power of the whole device. The interval is that of the power. The line of device power over package power gives what the rest of the device draws.", "Carroll & Ruppert 1988; JCGM 100:2008"},
		{"Intervals", "A 95 % interval is made so that 95 of 100 such intervals hold the true value. Numbers are written with the digits that their interval supports; the tables hold them in full.", "JCGM 100:2008, 7.2.6"},
	}
}
