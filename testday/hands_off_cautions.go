package testday

// Cautions are what a person reads and agrees to before sweepd sets a device's power by
// itself for the first time: whole sentences, for a terminal as for the page.
func Cautions() []string {
	return []string{
		"Stay in reach. A day without hands runs by itself, but not alone.",
		"Writing a power limit can overheat or damage hardware. Firmware takes limits that the cooling or the battery of this device may not bear: the limits in the configuration have to be those that its maker allows.",
		"Never leave a charging or heavily loaded lithium battery unattended. On swelling, smell or unusual heat stop now, unplug, and do not use that battery again.",
		"Put the device where air reaches it, on a surface that does not burn, and save what is open.",
		"What was set before is kept on the disk and put back at the end, on an error, where a guard trips, and after a crash. If a limit cannot be put back, sweepd says so: restart the device, or set it by hand.",
	}
}
