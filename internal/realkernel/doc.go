// Package realkernel runs a static Linux program under a real kernel whose
// battery, adapter, thermal zone and power meter are known functions of time.
//
// Debian's kernel is started in QEMU with an ACPI table (battery.asl); the
// kernel's own drivers serve what the table says, so nothing below /sys is
// made up. [Timeline] states the same functions in Go: it is the truth that a
// program's readings are checked against.
//
//	got := realkernel.Boot(t, realkernel.Options{Binary: path, Script: "sweepd sensors"})
//
// Time in the guest is counted in instructions, not taken from the host, and
// time in which the guest sleeps is skipped. The whole timeline passes in a few
// seconds, a busy host makes the guest neither late nor slow, and the same
// binary and script give the same output every time.
//
// The script (busybox sh, as root) finds
//
//	$RIG_CLOCK                           a file that holds the time t in ms
//	/sys/class/power_supply/ADP0, BAT0   adapter and battery
//	/sys/class/thermal/thermal_zone0     temperature, also as hwmon acpitz
//	/sys/class/hwmon/hwmonN/device/      power1_average of the power meter
//	/out                                 a folder that the host gets
//
// and can set hwmon values itself on the kernel's stub bus (modules i2c-dev,
// i2c-stub, lm75):
//
//	modprobe i2c-dev; modprobe i2c-stub chip_addr=0x48; modprobe lm75
//	echo lm75 0x48 >/sys/bus/i2c/devices/i2c-0/new_device
//	i2cset -f -y 0 0x48 0 0x803d w    # temp1_input becomes 61500
//
// There is no network but loopback.
//
// What the kernel does that a reader of its files must expect:
//   - All files of BAT0 come from one answer of the firmware that the kernel
//     keeps for battery.cache_time, 1000 ms by default. A value is up to 1 s
//     old, and one pass over the files may straddle a new answer.
//   - online of ADP0 is asked at every read. After an edge it may disagree with
//     the battery's status for up to 1 s.
//   - Temperature and power meter are asked at every read.
//
// The host needs the packages of packages.txt. The kernel and busybox are
// downloaded with apt-get (72 MB), unpacked without being installed, and what
// is needed of them is kept in ${XDG_CACHE_HOME:-~/.cache}/sweepd-realkernel;
// delete the folder to get a newer kernel.
package realkernel
