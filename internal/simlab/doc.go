// Package simlab is a test bench in simulated time: a simulated handheld, the
// collectors that read it, and a stepped agent, all moved by one clock. The
// demonstration plays its test day there, and tests measure against the
// device's truth.
package simlab
