package exporter

import (
	"context"
	"os"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/shirou/gopsutil/v3/common"
	"github.com/shirou/gopsutil/v3/process"
)

// footprint is what the agent itself costs. The standard Go and process
// collectors would make a scrape five times as dear (BenchmarkScrape).
type footprint struct {
	process *process.Process
	ctx     context.Context
	cpu     *prometheus.Desc
	memory  *prometheus.Desc
}

func newFootprint() *footprint {
	// The agent's own figures come from the real /proc, wherever HOST_PROC
	// points the sensors.
	ctx := context.WithValue(context.Background(), common.EnvKey, common.EnvMap{common.HostProcEnvKey: "/proc"})
	p, err := process.NewProcessWithContext(ctx, int32(os.Getpid()))
	if err != nil {
		p = nil // then the figures are missing
	}
	return &footprint{
		process: p, ctx: ctx,
		cpu:    prometheus.NewDesc("sweepd_agent_cpu_seconds_total", "Processor time that the agent itself has used, user and system.", nil, nil),
		memory: prometheus.NewDesc("sweepd_agent_resident_memory_bytes", "Memory of the agent itself that is resident.", nil, nil),
	}
}

func (f *footprint) Describe(ch chan<- *prometheus.Desc) { ch <- f.cpu; ch <- f.memory }

func (f *footprint) Collect(ch chan<- prometheus.Metric) {
	if f.process == nil {
		return
	}
	if s, err := f.cpuSeconds(); err == nil {
		ch <- prometheus.MustNewConstMetric(f.cpu, prometheus.CounterValue, s)
	}
	if m, err := f.process.MemoryInfoWithContext(f.ctx); err == nil {
		ch <- prometheus.MustNewConstMetric(f.memory, prometheus.GaugeValue, float64(m.RSS))
	}
}
