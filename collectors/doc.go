// Package collectors reads what a machine offers: batteries, supplies,
// temperatures, power, energy, clocks, fans and limits. It knows nothing of
// runs.
//
// Words: a sensor ([run.Sensor]) is one measured quantity, with its SI unit in
// its id; a reading is one sensor's value at one moment; a Collector finds the
// sources of one kind (power supplies, thermal zones, ...) and offers a Probe for
// each; a Probe reads the one or few files or calls that belong together; a Set
// holds every probe of a machine and reads them all once a sweep.
//
// The Set reads in two lanes. What is quick is read by the sweep itself; what is
// slow, or useless to read often, by another goroutine, and the sweep takes the
// latest value. A source that blocks is left to itself until its read comes back, and
// delays neither the sweep nor another source by more than a moment.
//
// A reading that could not be had is NaN: missing, never zero. Files stay open
// and are read at offset 0. A source that vanishes keeps its place in the
// sweep and is looked for again at every Rescan.
package collectors
