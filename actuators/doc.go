// Package actuators sets what a test day changes of a device: power limits, profiles,
// processors. It is the counterpart of collectors.
//
// The words: an actuator is one thing that can be set, by one file of this package. A
// place is a file of the kernel, or a command of the user's. A write is one text for one
// place, with what the place had before: plain data, which a dry run prints, which is kept
// on the disk before it is done, and which is put back without knowing its actuator. The
// first value of a place is what it had before sweepd wrote to it for the first time.
//
// Writing a power limit can overheat or damage hardware. Nothing is written by looking;
// what the configuration does not name is not written at all; and no value lies outside
// the limits of the firmware or those of the configuration.
package actuators
