package run

import (
	"encoding/json"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
)

// Variant is whatever else was changed on purpose, as "k=v" pairs in the order of
// the alphabet, joined by commas; "" where nothing was. Make one with NewVariant or
// ParseVariant, so that equal variants are equal texts.
type Variant string

// NewVariant is the variant of these pairs, which checkVariantPair has accepted.
func NewVariant(pairs map[string]string) Variant {
	texts := make([]string, 0, len(pairs))
	for k, v := range pairs {
		texts = append(texts, k+"="+v)
	}
	slices.Sort(texts)
	return Variant(strings.Join(texts, ","))
}

// ParseVariant reads "k=v" pairs joined by commas, in any order; "" is no variant.
func ParseVariant(text string) (Variant, error) {
	if strings.TrimSpace(text) == "" {
		return "", nil
	}
	pairs := strings.Split(text, ",")
	for i := range pairs {
		pairs[i] = strings.TrimSpace(pairs[i])
	}
	return ParseVariantPairs(pairs)
}

// ParseVariantPairs reads pairs "k=v" as a user types them. A key may have one
// value.
func ParseVariantPairs(texts []string) (Variant, error) {
	pairs := map[string]string{}
	for _, text := range texts {
		k, v, found := strings.Cut(text, "=")
		if !found {
			return "", fmt.Errorf("variant %q is not a pair k=v, such as cores=6", Shorten(text))
		}
		if err := checkVariantPair(k, v); err != nil {
			return "", err
		}
		if old, twice := pairs[k]; twice && old != v {
			return "", fmt.Errorf("variant %s is given twice, as %q and %q", k, old, v)
		}
		pairs[k] = v
	}
	return NewVariant(pairs), nil
}

// Pairs are the keys and values, in the order of the text.
func (v Variant) Pairs() iter.Seq2[string, string] {
	return func(yield func(string, string) bool) {
		if v == "" {
			return
		}
		for pair := range strings.SplitSeq(string(v), ",") {
			if key, value, _ := strings.Cut(pair, "="); !yield(key, value) {
				return
			}
		}
	}
}

// Map has the pairs; it is never nil.
func (v Variant) Map() map[string]string { return maps.Collect(v.Pairs()) }

// Get is the value of a key.
func (v Variant) Get(key string) (value string, ok bool) {
	for k, x := range v.Pairs() {
		if k == key {
			return x, true
		}
	}
	return "", false
}

// Without is the variant without a key.
func (v Variant) Without(key string) Variant {
	pairs := v.Map()
	delete(pairs, key)
	return NewVariant(pairs)
}

// Contains tells whether the variant has all pairs of another.
func (v Variant) Contains(w Variant) bool {
	for key, want := range w.Pairs() {
		if value, ok := v.Get(key); !ok || value != want {
			return false
		}
	}
	return true
}

// MarshalJSON gives an object of strings, {} where there is no variant.
func (v Variant) MarshalJSON() ([]byte, error) { return json.Marshal(v.Map()) }

// UnmarshalJSON reads an object of strings, or null. It fails for pairs that
// cannot be a variant.
func (v *Variant) UnmarshalJSON(text []byte) error {
	var pairs map[string]string
	if err := json.Unmarshal(text, &pairs); err != nil {
		return err
	}
	for key, value := range pairs {
		if err := checkVariantPair(key, value); err != nil {
			return err
		}
	}
	*v = NewVariant(pairs)
	return nil
}

// checkVariantPair tells why k=v cannot be a variant.
func checkVariantPair(k, v string) error {
	if err := CheckLabel("variant key", k); err != nil {
		return err
	}
	if err := CheckLabel("value of variant "+k, v); err != nil {
		return err
	}
	if strings.ContainsAny(k, "=,") || strings.ContainsAny(v, ",") {
		return fmt.Errorf("variant %q=%q: the key may not hold '=' or ',', the value no ','", k, v)
	}
	return nil
}
