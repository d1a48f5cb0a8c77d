// Package meter reads the log of a power meter between a device and what feeds it, and
// finds where in time the log lies beside what the device measured of itself. It is pure.
package meter
