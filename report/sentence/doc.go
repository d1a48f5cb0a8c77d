// Package sentence says results in words. Every number carries what it is worth:
// its interval stands beside it, and it has no more digits than that supports.
// Tables on a terminal and the report say the same thing in the same words.
package sentence
