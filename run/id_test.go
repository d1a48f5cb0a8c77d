package run

import (
	"bytes"
	"testing"
	"time"

	"github.com/google/uuid"
)

// The example of RFC 9562, appendix A.6: 2022-02-22 14:22:22-05:00 with
// random bits CC3 and 18C4DC0C0C07398F.
func TestNewIDAsInTheStandard(t *testing.T) {
	at := time.UnixMilli(0x017F22E279B0)
	random := []byte{0x0C, 0xC3, 0x18, 0xC4, 0xDC, 0x0C, 0x0C, 0x07, 0x39, 0x8F}
	id, err := NewID(at, bytes.NewReader(random))
	if err != nil {
		t.Fatal(err)
	}
	if want := "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"; id != want {
		t.Errorf("id %s, want %s", id, want)
	}
	if v := uuid.MustParse(id).Version(); v != 7 {
		t.Errorf("version %d, want 7", v)
	}
}

func TestIDsSortByStart(t *testing.T) {
	a, _ := NewID(time.UnixMilli(1000), nil)
	b, _ := NewID(time.UnixMilli(1001), nil)
	if a >= b {
		t.Errorf("%s does not sort before %s", a, b)
	}
	if _, err := NewID(time.Now(), bytes.NewReader(nil)); err == nil {
		t.Error("an id was made without random bits")
	}
}

func TestNamedBy(t *testing.T) {
	const id = "019e0a3b-1234-7abc-8def-0123456789ab"
	for text, want := range map[string]bool{
		id: true, "456789ab": true, "789A": true, "B": true, "45": true, "019e0a3b": true, "019E": true, "0123456789ab": true,
		"": false, "019": false, "1234-7abc": false, "23456789abc": false, "x": false, "c": false,
	} {
		if got := NamedBy(id, text); got != want {
			t.Errorf("%q: %v, want %v", text, got, want)
		}
	}
	if !NamedBy("ab", "A") || NamedBy("ab", "abc") {
		t.Error("an id shorter than a short one")
	}
}
