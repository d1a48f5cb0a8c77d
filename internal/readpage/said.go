// Package readpage reads the page of a report as a person does, for tests.
package readpage

import (
	"html"
	"regexp"
	"strings"
)

var (
	unread = regexp.MustCompile(`(?s)<svg.*?</svg>|<span[^>]* hidden>.*?</span>`)
	said   = regexp.MustCompile(`(?s)<p class="lead">(.*?)</p>|<details class="part" id="answer-[^"]*"><summary><h3>[^<]*</h3></summary><ul class="said">(.*?)</ul>`)
	tags   = regexp.MustCompile(`<[^>]*>|^[^>]*>`)
)

// Said are the sentences of the page's opening and of its answers at length, each
// with what it is about.
func Said(page string) (list []string) {
	for _, m := range said.FindAllStringSubmatch(unread.ReplaceAllString(page, ""), -1) {
		for _, part := range strings.Split(m[1]+m[2], "<li") {
			part = html.UnescapeString(tags.ReplaceAllString(part, ""))
			if part = strings.Join(strings.Fields(part), " "); part != "" {
				list = append(list, part)
			}
		}
	}
	return list
}
