package collectors

// systemID hides the id of the installed system, /etc/machine-id, which every user can
// read (machine-id(5)). It outlives updates, not a new installation.
func (r Roots) systemID() string { return hiddenID(staticText(r.etc("machine-id"))) }

// hardwareID hides the machine's own id in its firmware, which only root can read
// (class/dmi/id/product_uuid: drivers/firmware/dmi-id.c, mode 0400).
func (r Roots) hardwareID() string {
	return hiddenID(staticText(r.sys("class", "dmi", "id", "product_uuid")))
}
