// Package store says what a store of runs, results, findings, facts, readings and plans
// does, whatever keeps it: the interfaces that others need of one, the filters, and the
// errors that callers branch on. store/sqlite is the first that meets them, in one
// file; store/contract holds the tests that every store passes.
//
// Words: a correction is what a person changes about a run that is kept; a decision is
// a rejection or its undoing; a plan in force is the newest one.
//
// Methods may be called from any goroutine. What a writing method has done survives the
// death of the process once it returns; it is all done, or nothing of it. Errors say
// what was being done, where, and what to do about it.
package store
