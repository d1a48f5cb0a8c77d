package frames

import (
	"strings"
	"testing"
)

// Lines about the capture stand before the header, and the frames are the same three.
func TestLinesBeforeTheHeader(t *testing.T) {
	for name, c := range map[string]struct {
		text     string
		o        Options
		preamble int
	}{
		"none":                       {"n,frame_ms\n1,16.5\n2,17.25\n3,33\n", Options{Column: "frame_ms"}, 0},
		"sentences":                  {"Capture of the harbour flight\nMade on Mon, 4 May 2026\n\nn,frame_ms\n1,16.5\n2,17.25\n3,33\n", Options{Column: "frame_ms"}, 2},
		"pairs":                      {"device,unit-oak\nlimit,15\nn,frame_ms\n1,16.5\n2,17.25\n3,33\n", Options{Column: "frame_ms"}, 2},
		"semicolons, decimal commas": {"Gerät;unit-oak;\nn;frame_ms;limit\n1;16,5;15\n2;17,25;15\n3;33;15\n", Options{Column: "frame_ms"}, 1},
		"only one column":            {"Capture of the harbour flight, 4 May\nframe_ms\n16.5\n17.25\n33\n", Options{}, 1},
		"column by number":           {"Capture\nn,frame_ms\n1,16.5\n2,17.25\n3,33\n", Options{Column: "2"}, 1},
		"a comment is none":          {"# Capture\n\nn,frame_ms\n1,16.5\n2,17.25\n3,33\n", Options{Column: "frame_ms"}, 0},
	} {
		c.o.File = "frames.csv"
		list, err := readAll(c.text, c.o)
		if err != nil || len(list) != 3 || !near(list[0], 0.0165, 1e-12) || !near(list[1], 0.01725, 1e-12) || !near(list[2], 0.033, 1e-12) {
			t.Errorf("%s: %v, %v", name, list, err)
		}
		f, err := NewReader(strings.NewReader(c.text), c.o)
		if err != nil || f.Preamble() != c.preamble {
			t.Errorf("%s: %d lines before the header, %v; want %d", name, f.Preamble(), err, c.preamble)
		}
	}
}

// A row that cannot be read is no line about the capture, and is told by its own number.
func TestBadRowsAreNoPreamble(t *testing.T) {
	for text, c := range map[string]struct {
		o    Options
		want string
	}{
		"frame_ms\nn/a\n16.5\n":                        {Options{}, `line 2, column frame_ms: "n/a": is not a number`},
		"n,frame_ms\n1,n/a\n2,16.5\n":                  {Options{Column: "2"}, `line 2, column frame_ms: "n/a": is not a number`},
		"Capture\nn,frame_ms\n1,16.5\n2,fast\n":        {Options{Column: "frame_ms"}, `line 4, column frame_ms: "fast": is not a number`},
		"Capture\n\nn,frame_ms\n1,16.5\n2\n":           {Options{Column: "frame_ms"}, `line 5: "2": the row has 1 columns`},
		"Capture, 4 May\nn,a,frame_ms\n1,2,16.5\n":     {Options{}, "has 3 columns: name the one with the frame times: n, a, frame_ms"},
		"Capture, 4 May\nn,a,frame_ms\n1,2,16.5\n\n\n": {Options{Column: "frme_ms"}, `no column "frme_ms": its columns are n, a, frame_ms`},
	} {
		if list, err := readAll(text, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, %v; want %q", text, list, err, c.want)
		}
	}
}

// A rate is of one frame, which takes its reciprocal: 50, 100 and 62.5 frames per second
// are 20, 10 and 16 ms.
func TestRates(t *testing.T) {
	for text, o := range map[string]Options{
		"n,fps\n1,50\n2,100\n3,62.5\n":                {Column: "fps"},
		"n;rate (fps)\n1;50\n2;100\n3;62,5\n":         {Column: "2"},
		"n,rate\n1,50\n2,100\n3,62.5\n":               {Column: "rate", Unit: Rate},
		"Capture of a scene\nfps\n50\n100\n62.5\n":    {},
		"Capture\nframe,FPS\n1,50\n2,100\n3,6.25e1\n": {Column: "fps"},
	} {
		list, err := readAll(text, o)
		if err != nil || len(list) != 3 || !near(list[0], 0.02, 1e-12) || !near(list[1], 0.01, 1e-12) || !near(list[2], 0.016, 1e-12) {
			t.Errorf("%q: %v, %v", text, list, err)
		}
	}
	for text, c := range map[string]struct {
		o    Options
		want string
	}{
		"fps\n60\n0\n":  {Options{}, `line 3, column fps: "0": a rate is above 0`},
		"fps\n60\n-5\n": {Options{}, "a rate is above 0"},
		"fps\n60\n":     {Options{Timestamps: true}, "rates are no timestamps"},
	} {
		if list, err := readAll(text, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, %v; want %q", text, list, err, c.want)
		}
	}
	if u, err := ParseUnit("fps"); u != Rate || err != nil {
		t.Errorf("%v, %v", u, err)
	}
}
