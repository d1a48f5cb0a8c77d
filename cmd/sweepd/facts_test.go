package main

import (
	"slices"
	"strings"
	"testing"

	"sweepd/collectors"
	"sweepd/report/sentence"
)

// Every fact that a device can say of itself has a name in words, in the order in
// which the collectors list them: they own the keys, the report the words.
func TestFactsHaveWords(t *testing.T) {
	values := map[string][]string{"agent_version": {"1"}}
	var want []string
	for _, f := range collectors.FactKeys {
		values[f.Key] = []string{"1"}
		want = append(want, sentence.FactName(f.Key))
		if plain := strings.ReplaceAll(f.Key, "_", " "); strings.Contains(f.Key, "_") && sentence.FactName(f.Key) == plain && !slices.Contains(sameInWords, f.Key) {
			t.Errorf("%s has no name in words", f.Key)
		}
	}
	var got []string
	for _, f := range sentence.Facts(values) {
		got = append(got, f.Name)
	}
	if want = append(want, "sweepd version"); !slices.Equal(got, want) {
		t.Errorf("facts are shown as\n%q\nwant the collectors' order\n%q", got, want)
	}
}

// sameInWords are keys that read as words already.
var sameInWords = []string{"firmware_version", "firmware_date", "kernel_version", "platform_profile", "power_scheme", "power_mode", "battery_saver"}
