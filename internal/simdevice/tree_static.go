package simdevice

import "fmt"

// newStaticFiles writes what never changes.
func newStaticFiles(d *Device, t *tree) {
	t.fail(t.mkdir("sys/class", "proc", "etc"))
	if d.cfg.Without&PartDMI == 0 {
		newIdentityFiles(d, t)
	}
	t.fixed("etc/os-release", "ID=sim\nNAME=\"Simulated\"\nVERSION_ID=\"1\"\nPRETTY_NAME=\"Simulated 1\"\n")
	t.fixed("etc/machine-id", fmt.Sprintf("%032x", d.cfg.Seed))
}

// newIdentityFiles writes class/dmi/id.
func newIdentityFiles(d *Device, t *tree) {
	dir := t.member("dmi", "id", "virtual") + "/"
	for name, text := range map[string]string{
		"sys_vendor": "Example Works", "product_name": d.cfg.Name, "product_version": "1", "product_family": "unit",
		"board_vendor": "Example Works", "board_name": d.cfg.Name + "-board", "board_version": "1",
		"bios_vendor": "Example Works", "bios_version": "1.07", "bios_date": "02/14/2026",
		"chassis_type": "11", // SMBIOS: hand held (from memory)
		"product_uuid": fmt.Sprintf("00000000-0000-4000-8000-%012x", d.cfg.Seed),
	} {
		t.fixed(dir+name, text)
	}
}
