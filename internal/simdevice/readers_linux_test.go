package simdevice

import (
	"context"
	"math"
	"runtime"
	"testing"
	"time"

	"github.com/prometheus/procfs"
	"github.com/shirou/gopsutil/v3/common"
	"github.com/shirou/gopsutil/v3/cpu"
	"github.com/shirou/gopsutil/v3/host"
	"github.com/shirou/gopsutil/v3/load"
	"github.com/shirou/gopsutil/v3/mem"
)

// TestReadByProcfs lets an independent parser of proc, the procfs module, read
// the tree and compares what it understands with the truth.
func TestReadByProcfs(t *testing.T) {
	d := newDevice(t, UnitOak())
	fs, err := procfs.NewFS(d.ProcRoot())
	if err != nil {
		t.Fatal(err)
	}
	pass(t, d, time.Second)
	before, err := fs.Stat()
	if err != nil {
		t.Fatal(err)
	}
	d.BackgroundLoad(0.25)
	d.StartWorkload(TileSort()) // on all CPUs, so that the background must wait
	pass(t, d, 5*time.Minute)
	after, err := fs.Stat()
	if err != nil {
		t.Fatal(err)
	}
	if len(after.CPU) != 8 {
		t.Errorf("%d CPUs in proc/stat, want 8", len(after.CPU))
	}
	if got := after.BootTime; int64(got) != day.Add(-time.Hour).Unix() {
		t.Errorf("boot time is %v, want an hour before the start", got)
	}
	a, b := before.CPUTotal, after.CPUTotal
	total := (b.User + b.System + b.Idle) - (a.User + a.System + a.Idle)
	near(t, "CPU seconds of 8 CPUs", total, 8*300, 1e-3)
	near(t, "busy ratio", 1-(b.Idle-a.Idle)/total, d.Truth().BusyRatio, 1e-3)

	avg, err := fs.LoadAvg()
	if err != nil {
		t.Fatal(err)
	}
	// 10 tasks want to run for 5 minutes: 1 - e^-5 and 1 - e^-1 of them, as the
	// kernel's averages of 1 and 5 minutes go.
	near(t, "load average of 1 minute", avg.Load1, 10*(1-math.Exp(-5)), 0.01)
	near(t, "load average of 5 minutes", avg.Load5, 10*(1-math.Exp(-1)), 0.02)

	psi, err := fs.PSIStatsForResource("cpu")
	if err != nil {
		t.Fatal(err)
	}
	// A quarter more work than CPUs.
	near(t, "stall, µs", float64(psi.Some.Total), 0.25*300e6, 0.01)
	near(t, "stall over 60 s, percent", psi.Some.Avg60, 25*(1-math.Exp(-5)), 0.02)

	memory, err := fs.Meminfo()
	if err != nil {
		t.Fatal(err)
	}
	if memory.MemTotal == nil || memory.MemAvailable == nil || *memory.MemAvailable >= *memory.MemTotal {
		t.Errorf("memory is %v of %v", memory.MemAvailable, memory.MemTotal)
	}
	if runtime.GOARCH == "amd64" { // procfs parses the form of the machine it runs on
		info, err := fs.CPUInfo()
		if err != nil || len(info) != 8 || info[7].ModelName != "Example Processor 8" {
			t.Errorf("cpuinfo: %v, %v", info, err)
		}
	}
}

// TestReadByGopsutil does the same with gopsutil, which looks for its roots in
// the environment that Environ gives.
func TestReadByGopsutil(t *testing.T) {
	d := newDevice(t, UnitOak())
	d.SetLimit(20)
	d.StartWorkload(HarbourFlight())
	pass(t, d, time.Minute)
	ctx := context.WithValue(context.Background(), common.EnvKey, common.EnvMap{
		common.HostSysEnvKey: d.SysRoot(), common.HostProcEnvKey: d.ProcRoot(), common.HostEtcEnvKey: d.EtcRoot(),
	})
	temps, err := host.SensorsTemperaturesWithContext(ctx)
	if err != nil {
		t.Fatal(err)
	}
	found := false
	for _, s := range temps {
		if s.SensorKey == "cpu_thermal_package_id_0" {
			found = true
			near(t, "temperature", s.Temperature, d.Truth().DieC, 0.002)
		}
	}
	if !found {
		t.Errorf("gopsutil does not find the processor's temperature among %v", temps)
	}
	if n, err := cpu.CountsWithContext(ctx, true); err != nil || n != 8 {
		t.Errorf("gopsutil counts %d CPUs, %v", n, err)
	}
	if n, err := cpu.CountsWithContext(ctx, false); err != nil || n != 4 {
		t.Errorf("gopsutil counts %d cores, %v", n, err)
	}
	if m, err := mem.VirtualMemoryWithContext(ctx); err != nil || m.Total != 16252928<<10 {
		t.Errorf("gopsutil reads memory %+v, %v", m, err)
	}
	if l, err := load.AvgWithContext(ctx); err != nil || l.Load1 < 1 {
		t.Errorf("gopsutil reads load %+v, %v", l, err)
	}
}
