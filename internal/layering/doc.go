// Package layering holds the rules of the house as tests: who may import whom,
// that every package says what it is, and that only one speaks SQL.
package layering
