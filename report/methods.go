package report

import "strings"

// Method is one part of the methods in plain words, with where it comes from.
type Method struct{ Title, Text, Source string }

// methods say how the numbers came about, so that a critic can check them.
func methods() []Method {
	return []Method{
		{"Which runs count", "All finished runs that nobody rejected. No run is left out because of its result: a run that differs from its repeats is named, and counts until a person rejects it with a reason. Of two runs that differ from each other both are named, because their results do not tell which is odd. Rejected runs stay in the list below with that reason.",
			sources(hampel, daviesGather)},
		{"Means", "Results are compared as ratios, so means are geometric: the mean of the logarithms, taken back. Runs on one device taken in whole passes lose the shift that all runs of a pass share.",
			sources(flemingWallace, cochranCox)},
		{"Noise", "How much one run differs from the next comes from the repeats at all settings together, so that few runs at a setting suffice; a setting whose repeats scatter unlike the others speaks for itself. With few repeats the roughness of the curve helps.",
			sources(daviesGather, goldfeldQuandt, gasser, hallKay)},
		{"Who is ahead", "The bounds of a difference hold at all settings together with the stated confidence: the more settings are compared, the wider they are. A difference is a/b − 1: b, which the heading names, is 100 %, whichever side is ahead. A side is ahead where the bounds leave out zero, the two are level where the bounds lie inside the margin, and elsewhere it cannot be told. Where the lead changes, the mean over the settings would hide that, and stands in the table alone.",
			sources(stolineUry, welch, satterthwaite, schuirmann, bergerHsu)},
		{"Stretches of settings, and all of them", "A lead over a stretch of neighbouring settings with one verdict is the geometric mean of the ratios at its settings, each with the same weight however far apart they lie; its bounds are the means of the bounds of its settings and hold together with them. The mean over all shared settings (the row mean of a table) is the same over all of them, with an interval of its own; “throughout” is said of it where it lies within the bounds of every setting. Other settings would give another mean.",
			sources(flemingWallace, welch, satterthwaite)},
		{"What the answers claim", "Who is ahead, where the lead changes and the mean over the settings are said at the top with wider bounds than in the tables: all of these of a page hold together with 95 %, each comparison taking a share by its number of settings (Bonferroni). Drops and dips of all curves of the page share another 5 %. Settings that a device does not keep to are left out there: equal settings are not equal power then.",
			sources(stolineUry, holm)},
		{"Where the lead changes", "The interval of a crossing holds every setting at which the difference of the two curves could be zero.",
			sources(fieller)},
		{"How many more runs", "As many further runs on each side at the setting as would find a true difference of 3 % with a chance of 80 %, if the noise stays what it is; a smaller difference may stay open after them. Where the runs at hand suffice for 3 %, as many as would tell the small difference found from zero or from the margin.",
			sources(cochranCox, cohen)},
		{"Which settings the device follows", "The measured package power against the setting is fitted by a floor, a straight part and a cap; without that sensor the results alone can show ignored low settings.",
			sources(hudson, schwarz)},
		{"Most per watt", "Result over watts at each setting the device follows. About as good (a plateau) is the unbroken stretch around the best setting that loses less than 5 % or cannot be told from the best.",
			sources(hsu)},
		{"The best result", "The best result is the highest of several means, and so on average a little too high: noise helped it to the top. A setting cannot be told from the best where no other setting lies above it by more than noise, with 95 % for all of them together; the stretch named is the unbroken one around the best mean.",
			sources(hsu)},
		{"Enough", "The smallest of the tested settings that gives 95 % of the best result lies with 95 % between the two settings named, by comparing every setting with the best. Where no setting surely gives so much, there is no upper end.",
			sources(hsu, edwardsHsu, barlow)},
		{"The bend", "Where the curve, made to rise, has gained most for the least watts. It is named only where the curve gains less and less from each watt by more than noise (a test of the quadratic term, 5 %). It describes the settings tested and has no interval.",
			sources(barlow, satopaa, snedecorCochran)},
		{"Dips", "The result at a setting dips where it lies below what its neighbours let expect by more than chance, adjusted for the number of settings looked at.",
			sources(holm)},
		{"Runtime", "The energy of a full battery, less the reserve, over the mean power of the whole device. The interval is that of the power. The line of device power over package power gives what the rest of the device draws.",
			sources(carrollRuppert, guide)},
		{"Intervals", "A 95 % interval is made so that 95 of 100 such intervals hold the true value. Numbers are written with the digits that their interval supports; the tables hold them in full.",
			sources(neyman, guide+" (7.2.6: digits)")},
		{"Sources", "Author, year and title of the sources marked † are from memory: nobody looked them up.", ""},
	}
}

// The sources. Those without a † were seen: guide and satopaa themselves, the others
// as the manuals of R and of its packages lmtest and metafor cite them. Numbers that
// the methods take from them are checked in the tests of package analysis.
const (
	barlow          = "Barlow, Bartholomew, Bremner & Brunk 1972, Statistical Inference under Order Restrictions"
	bergerHsu       = "Berger & Hsu 1996, Bioequivalence trials, intersection-union tests and equivalence confidence sets, Statistical Science 11 †"
	carrollRuppert  = "Carroll & Ruppert 1988, Transformation and Weighting in Regression †"
	cochranCox      = "Cochran & Cox 1957, Experimental Designs"
	cohen           = "Cohen 1988, Statistical Power Analysis for the Behavioral Sciences (the 80 %)"
	daviesGather    = "Davies & Gather 1993, The identification of multiple outliers, Journal of the American Statistical Association 88 †"
	edwardsHsu      = "Edwards & Hsu 1983, Multiple comparisons with the best treatment, Journal of the American Statistical Association 78 †"
	fieller         = "Fieller 1954, Some problems in interval estimation, Journal of the Royal Statistical Society B 16 †"
	flemingWallace  = "Fleming & Wallace 1986, How not to lie with statistics: the correct way to summarize benchmark results, Communications of the ACM 29 †"
	gasser          = "Gasser, Sroka & Jennen-Steinmetz 1986, Residual variance and residual pattern in nonlinear regression, Biometrika 73 †"
	goldfeldQuandt  = "Goldfeld & Quandt 1965, Some tests for homoscedasticity, Journal of the American Statistical Association 60"
	guide           = "JCGM 100:2008, Guide to the expression of uncertainty in measurement"
	hallKay         = "Hall, Kay & Titterington 1990, Asymptotically optimal difference-based estimation of variance in nonparametric regression, Biometrika 77 †"
	hampel          = "Hampel 1974, The influence curve and its role in robust estimation, Journal of the American Statistical Association 69 †"
	holm            = "Holm 1979, A simple sequentially rejective multiple test procedure, Scandinavian Journal of Statistics 6"
	hsu             = "Hsu 1984, Constrained simultaneous confidence intervals for multiple comparisons with the best, Annals of Statistics 12 †"
	hudson          = "Hudson 1966, Fitting segmented curves whose join points have to be estimated, Journal of the American Statistical Association 61 †"
	neyman          = "Neyman 1937, Outline of a theory of statistical estimation based on the classical theory of probability, Philosophical Transactions of the Royal Society A 236 †"
	satopaa         = "Satopää, Albrecht, Irwin & Raghavan 2011, Finding a “kneedle” in a haystack: detecting knee points in system behavior, ICDCS Workshops"
	satterthwaite   = "Satterthwaite 1946, An approximate distribution of estimates of variance components, Biometrics Bulletin 2 †"
	schuirmann      = "Schuirmann 1987, A comparison of the two one-sided tests procedure and the power approach for assessing the equivalence of average bioavailability, Journal of Pharmacokinetics and Biopharmaceutics 15 †"
	schwarz         = "Schwarz 1978, Estimating the dimension of a model, Annals of Statistics 6 †"
	snedecorCochran = "Snedecor & Cochran 1967, Statistical Methods †"
	stolineUry      = "Stoline & Ury 1979, Tables of the studentized maximum modulus distribution and an application to multiple comparisons among means, Technometrics 21 †"
	welch           = "Welch 1947, The generalization of ‘Student’s’ problem when several different population variances are involved, Biometrika 34 †"
)

func sources(list ...string) string { return strings.Join(list, "; ") }
