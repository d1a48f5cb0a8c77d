package simdevice

import "fmt"

// addStatic adds the roots and what tells the system's name.
func addStatic(d *Device, t *tree) {
	t.fail(t.mkdir("sys/class", "proc", "etc"))
	t.fixed("etc/os-release", "ID=sim\nNAME=\"Simulated\"\nVERSION_ID=\"1\"\nPRETTY_NAME=\"Simulated 1\"\n")
	t.fixed("etc/machine-id", fmt.Sprintf("%032x", d.cfg.Seed))
}

// addIdentity adds class/dmi/id.
func addIdentity(d *Device, t *tree) {
	dir := t.member("dmi", "id", "virtual") + "/"
	for name, text := range map[string]string{
		"sys_vendor": "Example Works", "product_name": d.cfg.Name, "product_version": "1", "product_family": "unit",
		"board_vendor": "Example Works", "board_name": d.cfg.Name + "-board", "board_version": "1",
		"bios_vendor": "Example Works", "bios_version": "1.07", "bios_date": "02/14/2026",
		"chassis_type": "11", // SMBIOS: hand held, the tenth name after "Other" in dmidecode 3.4
		"product_uuid": fmt.Sprintf("00000000-0000-4000-8000-%012x", d.cfg.Seed),
	} {
		t.fixed(dir+name, text)
	}
}
