package report

import (
	"regexp"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// disobedience is how the analysis notes that a side did not keep to its setting.
var disobedience = regexp.MustCompile(`^(.+?) did not keep to its setting at (.+?): equal settings are not equal power there`)

// disobeyed says where a side of a comparison did not keep to its setting, in
// words for a reader who cannot ask again.
func disobeyed(c *analysis.Comparison) []sentence.Sentence {
	var list []sentence.Sentence
	for _, note := range c.Notes {
		m := disobedience.FindStringSubmatch(note)
		if m == nil {
			continue
		}
		places := strings.Split(strings.ReplaceAll(m[2], "(drew ", "(where it drew "), ", ")
		list = append(list, sentence.Sentence{Tone: sentence.Doubtful, Text: "At " + listed(places, len(places)) + " " + sentence.Side(m[1]) +
			" did not keep to its setting, so equal settings are not equal power there."})
	}
	return list
}
