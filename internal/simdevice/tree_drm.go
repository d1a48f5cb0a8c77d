package simdevice

import "strconv"

// drmFiles show the graphics of a processor with graphics (APU): class/drm/card1
// and its hwmon, after the doc comments of the kernel's GPU power management. Its
// power is that of the whole socket, and in1 (northbridge) tells that it is such.
type drmFiles struct {
	busy, levels, memory                       *file
	power, limit, temp, clock, graphics, north *file
}

const gpuDevice = "pci0000:00/0000:00:08.1/0000:04:00.0"

func newDRMFiles(d *Device, t *tree) part {
	f := &drmFiles{}
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

	f.busy = t.live(device+"/gpu_busy_percent", "0")
	f.levels = t.live(device+"/pp_dpm_sclk", "0: 200Mhz *")
	t.fixed(device+"/pp_dpm_mclk", "0: 400Mhz \n1: 800Mhz \n2: 2400Mhz *")
	t.fixed(device+"/power_dpm_force_performance_level", "auto")
	t.fixed(device+"/mem_info_vram_total", "4294967296")
	f.memory = t.live(device+"/mem_info_vram_used", "268435456")

	dir := t.hwmon("simgpu", "hwmon3", gpuDevice)
	f.power = t.live(dir+"power1_average", "0")
	f.temp = t.live(dir+"temp1_input", "0")
	t.fixed(dir+"temp1_label", "edge")
	f.clock = t.live(dir+"freq1_input", "0")
	t.fixed(dir+"freq1_label", "sclk")
	f.graphics = t.live(dir+"in0_input", "0")
	t.fixed(dir+"in0_label", "vddgfx")
	f.north = t.live(dir+"in1_input", "0")
	t.fixed(dir+"in1_label", "vddnb")
	if d.cfg.Without&PartGPUCap == 0 {
		f.limit = t.live(dir+"power1_cap", "0")
		t.fixed(dir+"power1_cap_min", strconv.FormatInt(micro(d.cfg.MinW), 10))
		t.fixed(dir+"power1_cap_max", strconv.FormatInt(micro(d.cfg.MaxW), 10))
		t.fixed(dir+"power1_label", "slowPPT")
	}
	return f
}

func (f *drmFiles) applyWrites(d *Device, t *tree) { applyWattsWritten(d, t, f.limit, 1e6) }

func (f *drmFiles) flush(d *Device, t *tree) {
	m := d.model
	t.putInt(f.busy, int64(m.gpuBusy*100+0.5))
	text := append(t.scratch[:0], "0: 200Mhz \n1: "...)
	text = append(strconv.AppendInt(text, mega(m.gpuHertz), 10), "Mhz *\n2: 2200Mhz \n"...)
	t.scratch = text
	t.put(f.levels, text)
	t.putInt(f.power, roundTo(m.averageW*1e6, 1000))
	t.putInt(f.temp, roundTo((m.dieC()-1.5)*1000, 1000))
	t.putInt(f.clock, mega(m.gpuHertz)*1e6)
	t.putInt(f.graphics, int64(650+400*m.gpuHertz/gpuMaxHz))
	t.putInt(f.north, int64(700+0.5*m.packageW))
	t.putInt(f.limit, micro(m.limit.settingW))
	if m.play != nil && m.gpuBusy > 0 {
		t.putInt(f.memory, 1610612736)
	} else {
		t.putInt(f.memory, 268435456)
	}
}
