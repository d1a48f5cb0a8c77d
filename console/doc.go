// Package console is how commands, the page and other programs on the device
// talk to a running agent: an HTTP API in JSON under /api/v1/, the client for
// it, and the texts that people type.
//
// It is thin: the agent, the store and the analysis do the work. Everything but
// /metrics answers only to the device itself, see guard.go.
package console
