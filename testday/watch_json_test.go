package testday

import (
	"io"
	"strings"
	"testing"
)

// RFC 9535, figure 1 (the bookstore), and the singular queries of its sections
// 2.3.1 to 2.3.5 and 2.5 on it and on their own examples.
const bookstore = `{ "store": {
    "book": [
      { "category": "reference", "author": "Nigel Rees", "title": "Sayings of the Century", "price": 8.95 },
      { "category": "fiction", "author": "Evelyn Waugh", "title": "Sword of Honour", "price": 12.99 },
      { "category": "fiction", "author": "Herman Melville", "title": "Moby Dick", "isbn": "0-553-21311-3", "price": 8.99 },
      { "category": "fiction", "author": "J. R. R. Tolkien", "title": "The Lord of the Rings", "isbn": "0-395-19395-8", "price": 22.99 }
    ],
    "bicycle": { "color": "red", "price": 399 }
  }
}`

func TestJSONPath(t *testing.T) {
	const names = `{"o": {"j j": {"k.k": 3}}, "'": {"@": 2}, "a": [1, 2, {"b": "61.5 fps"}], "☺": 1, "q\"": 4}` // 2.3.1.3, table 5
	for _, c := range []struct{ text, path, want string }{
		{bookstore, "$.store.bicycle.price", "399"},
		{bookstore, "$.store.book[3].price", "22.99"},
		{bookstore, "$.store.book[-1].price", "22.99"},
		{bookstore, "$['store']['book'][0]['price']", "8.95"},
		{bookstore, `$ ["store"] .bicycle [ "price" ]`, "399"},
		{names, "$.o['j j']['k.k']", "3"},
		{names, `$.o["j j"]["k.k"]`, "3"},
		{names, `$["'"]["@"]`, "2"},
		{names, `$['\'']['@']`, "2"},
		{names, `$['q"']`, "4"},
		{names, `$['\u263a']`, "1"},
		{names, "$.☺", "1"},
		{names, "$.a[2].b", "61.5 fps"},
		{names, "$.a[3]", ""}, {names, "$.a[-4]", ""}, {names, "$.o[0]", ""}, {names, "$.a.b", ""}, {names, "$.o", ""}, {names, "$.none", ""},
		{"loading\n" + `{"fps": 1}` + "\n{broken\n" + `{"fps": 2}` + "\n" + `{"other": 3}` + "\ndone\n", "$.fps", "2"},
		{"[1,2]\n[3,\n4\n]\nbye", "$[1]", "4"},
		{`{"big": 12345678901234567890123}`, "$.big", "12345678901234567890123"},
		{"", "$.a", ""}, {"\n\n", "$.a", ""},
	} {
		p, err := parseJSONPath(c.path)
		if err != nil {
			t.Errorf("%s: %v", c.path, err)
			continue
		}
		var kept tail
		for part := range strings.SplitAfterSeq(c.text, " ") {
			kept.keep([]byte(part))
		}
		if got, ok := kept.last(p); got != c.want || ok != (c.want != "") {
			t.Errorf("%s: %q, %v, want %q", c.path, got, ok, c.want)
		}
	}
	for _, path := range []string{"$", "$.", "$..a", "$.*", "$[*]", "$[1:2]", "$[01]", "$[-0]", "$[a]", "$['a", "$['a'", "$.a b", "$.1a", "$[?@.a]", "$[1,2]", "$x"} {
		if _, err := parseJSONPath(path); err == nil {
			t.Errorf("%s: no error", path)
		}
	}
}

func TestResultsFromJSONAndLines(t *testing.T) {
	rules, err := ParseOutputRules([]string{"fps_mean=$.summary.fps", "score=score: ([0-9]+)", "load=$['load time']", "missing=$.summary.none"})
	if err != nil {
		t.Fatal(err)
	}
	s := rules.newOutput()
	out, errs := s.stream(), s.stream()
	_, _ = io.WriteString(errs, "score: 17\n")
	_, _ = io.WriteString(out, "{\n  \"summary\": {\"fps\": 61.25},\n  \"load time\": \"4.2 s\"\n}\n")
	results, missing := s.results()
	if len(results) != 3 || results["fps_mean"].Value != 61.25 || results["score"].Value != 17 || results["load"].Value != 4.2 || results["load"].Unit != "s" {
		t.Errorf("%v", results)
	}
	if missing == nil || !strings.Contains(missing.Error(), "result missing: no JSON in the output has a number at $.summary.none") {
		t.Errorf("%v", missing)
	}
}

// The end of long output is kept, and not much more.
func TestTailIsBounded(t *testing.T) {
	var kept tail
	line := []byte(strings.Repeat("x", 1000) + "\n")
	for range 20_000 {
		kept.keep(line)
	}
	kept.keep([]byte(`{"a": 5}`))
	p, _ := parseJSONPath("$.a")
	if got, ok := kept.last(p); !ok || got != "5" || len(kept.text) > 2*maxJSON {
		t.Errorf("%q, %d bytes", got, len(kept.text))
	}
}

func FuzzJSONPath(f *testing.F) {
	f.Add("$.a['b'][0]", `{"a":{"b":[1]}}`)
	f.Fuzz(func(t *testing.T, path, text string) {
		p, err := parseJSONPath(path)
		if err != nil {
			return
		}
		kept := tail{text: []byte(text)}
		kept.last(p)
	})
}
