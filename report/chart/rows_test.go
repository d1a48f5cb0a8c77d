package chart

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func rowsChart(rows []Row) *Chart {
	return &Chart{Name: "rows", Title: "rows", Panels: []Panel{{X: Axis{Label: "setting, W"}, Rows: rows}}}
}

var placedText = regexp.MustCompile(`<text x="([-0-9.]+)" y="([-0-9.]+)"[^>]*?textLength="([0-9.]+)"[^>]*>([^<]*)<`)

// No word of a row leaves the picture, whatever the rows are called and hold, and the words of
// a piece stay inside it.
func TestRowsStayInThePicture(t *testing.T) {
	word := rapid.StringMatching(`[a-z-]{1,40}( [a-z]{1,12}){0,4}`)
	rapid.Check(t, func(t *rapid.T) {
		var rows []Row
		for i := range rapid.IntRange(1, 9).Draw(t, "rows") {
			row := Row{Group: fmt.Sprint("group ", i/4, " ", word.Draw(t, "group")), Name: word.Draw(t, "name")}
			x := 5.0
			for range rapid.IntRange(0, 4).Draw(t, "pieces") {
				to := x + rapid.Float64Range(0.5, 20).Draw(t, "width")
				row.Pieces = append(row.Pieces, Piece{Reach: Reach{x, to}, Kind: PieceKind(rapid.IntRange(0, 4).Draw(t, "kind")), Style: i % 6, Words: []string{word.Draw(t, "long") + "\n" + word.Draw(t, "second"), word.Draw(t, "short")}})
				x = to
			}
			if rapid.Bool().Draw(t, "spot") {
				row.Spots = append(row.Spots, Spot{At: 7, Lower: 6, Upper: math.NaN(), Crossing: i%2 == 0, Words: word.Draw(t, "words")})
			}
			if rapid.Bool().Draw(t, "noted") {
				row.Note = word.Draw(t, "note")
			}
			rows = append(rows, row)
		}
		c := rowsChart(rows)
		for _, s := range []Size{Wide, Narrow, Square, Upright} {
			for _, m := range placedText.FindAllStringSubmatch(string(SVG(c, s, &Light)), -1) {
				x, _ := strconv.ParseFloat(m[1], 64)
				width, _ := strconv.ParseFloat(m[3], 64)
				if x < -0.5 || x+width > s.Width+0.5 {
					t.Fatalf("%vx%v: %q from %v to %v", s.Width, s.Height, m[4], x, x+width)
				}
			}
		}
	})
}

// The first words that have room are written, in a piece that is wide enough the longest;
// none in one that has no room for any.
func TestWordsOfPieces(t *testing.T) {
	piece := func(to float64) Piece {
		return Piece{Reach: Reach{0, to}, Words: []string{"unit-oak ahead:\nunit-elm 14.9 % behind", "unit-oak ahead", "oak"}}
	}
	for to, want := range map[float64]string{100: "unit-oak ahead: unit-elm 14.9 % behind", 40: "unit-elm 14.9 % behind", 21: "unit-oak ahead", 12: "oak", 2: ""} {
		c := rowsChart([]Row{{Name: "x", Pieces: []Piece{piece(to), {Reach: Reach{100, 101}}}}})
		svg := string(SVG(c, Wide, &Light))
		var found []string
		for _, m := range placedText.FindAllStringSubmatch(svg, -1) {
			if strings.Contains(m[4], "oak") || strings.Contains(m[4], "elm") {
				found = append(found, m[4])
			}
		}
		if got := strings.Join(found, "|"); want == "" && got != "" || !strings.Contains(got, want) {
			t.Errorf("%v wide: %q, want %q", to, got, want)
		}
	}
}

// A chart with a panel aside has all its panels in every size, side by side only where there
// is room, and none of them empty.
func TestAside(t *testing.T) {
	nan := math.NaN()
	curve := func(name string) Panel {
		return Panel{X: Axis{Label: "setting, W"}, Y: Axis{Label: name}, Series: []Series{{Name: "on mains", Joined: true, Points: []Point{{5, 1, nan, nan}, {50, 9, nan, nan}}}}}
	}
	c := &Chart{Name: "aside", Title: "aside", Sharing: true, Aside: true, Panels: []Panel{curve("result"), curve("runtime"), curve("temperature"),
		{X: Axis{Label: "setting, W"}, Rows: []Row{{Name: "enough", Pieces: []Piece{{Reach: Reach{20, 30}, Kind: PieceRange, Words: []string{"20 to 30 W"}}}}}}}}
	for _, s := range []Size{Wide, Narrow, Square, Upright} {
		svg := string(SVG(c, s, &Light))
		places := map[string]float64{}
		for _, m := range placedText.FindAllStringSubmatch(svg, -1) {
			places[m[4]], _ = strconv.ParseFloat(m[1], 64)
		}
		for _, want := range []string{"result", "runtime", "temperature", "enough", "on mains", "20 to 30 W"} {
			if _, ok := places[want]; !ok {
				t.Errorf("%v wide: no %q", s.Width, want)
			}
		}
		if beside := places["runtime"] > places["result"]+100; beside != s.Labels {
			t.Errorf("%v wide: runtime at %v, result at %v", s.Width, places["runtime"], places["result"])
		}
	}
}

// A picture of one row is as low as it needs in the page, and fills its shape as PNG.
func TestFewRowsAreLow(t *testing.T) {
	row := Row{Name: "mains", Pieces: []Piece{{Reach: Reach{5, 50}, Words: []string{"unit-oak ahead"}}}}
	height := func(n int) float64 {
		rows := make([]Row, n)
		for i := range rows {
			rows[i] = row
		}
		m := regexp.MustCompile(`height="([0-9.]+)"`).FindStringSubmatch(string(SVG(rowsChart(rows), Wide, &Light)))
		h, _ := strconv.ParseFloat(m[1], 64)
		return h
	}
	if one, two, many := height(1), height(2), height(12); !(one < 260 && one < two && two < many && many == Wide.Height) {
		t.Errorf("%v, %v and %v high", one, two, many)
	}
	if b := Image(rowsChart([]Row{row}), Wide, 960, &Light).Bounds(); b.Dy() != 540 {
		t.Errorf("a picture of %v", b)
	}
}
