package simdevice

import "strconv"

// gpuDevice is the graphics' place among the devices.
const gpuDevice = "pci0000:00/0000:00:08.1/0000:04:00.0"

// addGPU adds the graphics of a processor with graphics (APU): class/drm/card1
// and its hwmon, after the doc comments of the kernel's GPU power management. Its
// power is that of the whole socket, and in1 (northbridge) tells that it is such.
func addGPU(d *Device, t *tree) {
	m := d.model
	card := t.member("drm", "card1", gpuDevice)
	device := "sys/devices/" + gpuDevice
	t.link(card+"/device", device)
	t.fixed(device+"/uevent", "DRIVER=simgpu\nPCI_SLOT_NAME=0000:04:00.0")
	t.fixed("sys/bus/pci/drivers/simgpu/module", "simgpu")
	t.fixed("sys/module/simgpu/version", "1.4.0")
	t.link(device+"/driver", "sys/bus/pci/drivers/simgpu")
	t.fixed(device+"/power/control", "on")
	t.fixed(device+"/power/runtime_status", "active")
	t.fixed(device+"/boot_vga", "1")
	screen := t.member("drm", "card1-eDP-1", gpuDevice)
	t.fixed(screen+"/status", "connected")
	t.fixed(screen+"/enabled", "enabled")
	render := t.member("drm", "renderD128", gpuDevice)
	t.link(render+"/device", device)
	t.fixed("sys/class/drm/version", "drm 1.1.0 20060810")

	t.number(device+"/gpu_busy_percent", func() int64 { return int64(m.gpuBusy*100 + 0.5) })
	t.text(device+"/pp_dpm_sclk", func(text []byte) []byte {
		text = append(text, "0: 200Mhz \n1: "...)
		return append(strconv.AppendInt(text, mega(m.gpuHertz), 10), "Mhz *\n2: 2200Mhz \n"...)
	})
	t.fixed(device+"/pp_dpm_mclk", "0: 400Mhz \n1: 800Mhz \n2: 2400Mhz *")
	t.fixed(device+"/power_dpm_force_performance_level", "auto")
	t.fixed(device+"/mem_info_vram_total", "4294967296")
	t.number(device+"/mem_info_vram_used", func() int64 {
		if m.play != nil && m.gpuBusy > 0 {
			return 1610612736
		}
		return 268435456
	})

	dir := t.hwmon("simgpu", "hwmon3", gpuDevice)
	t.number(dir+"power1_average", func() int64 { return roundTo(m.averageW*1e6, 1000) })
	t.number(dir+"temp1_input", func() int64 { return roundTo((m.dieC()-1.5)*1000, 1000) })
	t.fixed(dir+"temp1_label", "edge")
	t.number(dir+"freq1_input", func() int64 { return mega(m.gpuHertz) * 1e6 })
	t.fixed(dir+"freq1_label", "sclk")
	t.number(dir+"in0_input", func() int64 { return int64(650 + 400*m.gpuHertz/gpuMaxHz) })
	t.fixed(dir+"in0_label", "vddgfx")
	t.number(dir+"in1_input", func() int64 { return int64(700 + 0.5*m.packageW) })
	t.fixed(dir+"in1_label", "vddnb")
	if d.cfg.Without&PartGPUCap == 0 {
		t.number(dir+"power1_cap", func() int64 { return micro(m.limit.settingW) }).setting(d.obeyWatts(1e6, 1, d.setAll))
		t.fixed(dir+"power1_cap_min", strconv.FormatInt(micro(d.cfg.MinW), 10))
		t.fixed(dir+"power1_cap_max", strconv.FormatInt(micro(d.cfg.MaxW), 10))
		t.fixed(dir+"power1_label", "slowPPT")
	}
}
