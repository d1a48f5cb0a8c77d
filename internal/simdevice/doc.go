// Package simdevice is a simulated handheld computer for tests and for the demo.
//
// A physical model (see model.go) computes power, heat and battery content of a
// device that plays a workload under a power limit; a tree of files (see
// tree.go) shows them as the Linux kernel would, so that the real collectors
// read it through HOST_SYS and HOST_PROC. Nothing runs by itself: time passes
// only in [Device.Advance], and files change only in [Device.Flush].
//
//	dir, _ := simdevice.MakeTempDir("oak")
//	dev, _ := simdevice.New(dir, simdevice.UnitOak(), start)
//	defer dev.Close()
//	dev.SetLimit(15)
//	dev.Unplug()
//	dev.StartWorkload(simdevice.HarbourFlight())
//	for range 1200 { // five minutes
//		dev.Advance(250 * time.Millisecond)
//		dev.Flush()
//	}
//	played := dev.StopWorkload()
//
// The words:
//
//   - The package is the processor with its graphics. Its power is dynamic power
//     plus leakage (power.go), held below a limit by a controller (limit.go) and
//     by a temperature limit (throttle.go).
//   - The system is the whole device: overhead + slope * package.
//   - Discharge is what leaves the battery: positive while discharging, negative
//     while charging.
//   - [Truth] is what the model knows exactly. What the files show is rounded,
//     delayed and noisy as on a real machine (gauge.go).
//
// Mistakes of a test day, each alone:
//
//	unplugged or plugged in mid-run   Unplug, Plug
//	charging during a run             Plug with SetCharge below 1
//	charger too weak                  SetCharger, with a setting above it
//	battery nearly empty              SetCharge
//	setting changed in mid-run        SetLimit, SetProfile
//	setting not as declared           SetLimit to something else
//	setting not obeyed                DisobeyLimit; settings outside FloorW to CapW
//	started hot                       HeatTo
//	thermal throttling                BlockFan
//	other load                        BackgroundLoad
//	sensor gone, broken or stuck      BreakFile, PullBattery
//	battery's gauge learns anew       SetCharge in mid-run
//	energy counter leaps              LeapCounter
//	sensor jumps                      Mislead
//	battery too warm or too cold      WarmBatteries
//	limit goes back by itself         Config.Reverts, RevertLimit
//	limit lies or is refused          Plant
//	suspended                         Suspend
//	sampling gap                      a long Advance between two sweeps
//	an outlying result                SpoilNext
//	frames missing                    a part of Played.FrameTimes
//
// A model advances in time steps of 50 ms on a fixed grid. Random numbers are drawn
// only where a step begins, and inside a step everything is integrated in closed
// form, so the result does not depend on how a time span is cut into calls of
// Advance, and equal seeds give equal days.
//
// What can be set (the three firmware limits, the constraints of the package, the GPU's
// cap, the platform profile, which CPUs are online, their governor and energy preference)
// is set by [Device.Set], which answers as a kernel does and obeys at once, or by writing
// the plain file.
//
// Where plain files cannot do what the kernel does: a read of a source that went
// away gives nothing (end of file) instead of ENODEV, and a value that somebody
// writes into a setting is looked at when time next advances, for processors once a second
// of the device's time; a value outside
// its range is then replaced by the old one instead of refused with EINVAL.
package simdevice
