package analysis

import (
	"encoding/json"
	"math"
	"testing"
)

func TestNumberJSON(t *testing.T) {
	for _, c := range []struct {
		number Number
		text   string
	}{{1.5, "1.5"}, {0, "0"}, {Unknown(), "null"}, {Number(math.Inf(1)), "null"}, {Number(math.Inf(-1)), "null"}, {1e308, "1e+308"}} {
		text, err := json.Marshal(c.number)
		if err != nil || string(text) != c.text {
			t.Errorf("%g: %s, %v; want %s", float64(c.number), text, err, c.text)
		}
		var back Number
		if err := json.Unmarshal(text, &back); err != nil || back.Known() != c.number.Known() || back.Known() && back != c.number {
			t.Errorf("%s read as %g, %v", text, float64(back), err)
		}
	}
	var n Number
	if err := json.Unmarshal([]byte(`"high"`), &n); err == nil {
		t.Error("read a word as a number")
	}
}
