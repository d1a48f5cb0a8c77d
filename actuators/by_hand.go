package actuators

import (
	"strings"

	"sweepd/run"
)

// ByHand is what a person types in a shell to put the first value back.
func (w Write) ByHand() string {
	if w.Path != "" {
		return "echo " + quoted(w.Was) + " | sudo tee " + quoted(w.Path)
	}
	var words []string
	for _, word := range fill(w.Back, w.Was) {
		words = append(words, quoted(word))
	}
	return strings.Join(words, " ")
}

// quoted is a word for a POSIX shell; what a terminal would not show is shown escaped.
func quoted(word string) string {
	word = run.Visible(word)
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("/._-:+,@%", r)
	}
	if word != "" && strings.IndexFunc(word, func(r rune) bool { return !plain(r) }) < 0 {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
