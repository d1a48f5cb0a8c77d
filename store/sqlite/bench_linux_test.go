package sqlite

import (
	"fmt"
	"math"
	"math/rand/v2"
	"syscall"
	"testing"
	"time"

	"sweepd/run"
)

// noisy is a harder recording than any device should give: half of 60 sensors
// have noise in their last steps in every sweep.
func noisy(n int) recording {
	rng := rand.New(rand.NewPCG(1, 2))
	r := recording{}
	for i := range 60 {
		s := run.Sensor{ID: run.PackagePower, Instance: fmt.Sprint(i), Unit: "watts", Resolution: 1e-6}
		if i%6 == 1 {
			s.ID, s.Unit, s.Kind = run.PackageEnergy, "joules", run.Counter
		}
		r.sensors = append(r.sensors, s)
	}
	energy := make([]float64, 60)
	for i := range n {
		values := make([]float64, 60)
		for j := range values {
			switch j % 6 {
			case 0: // power: 5 % noise in microwatts
				values[j] = 15 * (1 + 0.05*rng.NormFloat64())
			case 1: // energy counter: 5 % noise in its rate
				energy[j] += 15 * 0.25 * (1 + 0.05*rng.NormFloat64())
				values[j] = energy[j]
			case 2: // temperature: random walk in steps of an eighth of a degree
				values[j] = 60 + math.Round(8*math.Sin(float64(i)/100)+rng.NormFloat64())/8
			case 3: // battery: refreshed once a second
				values[j] = 20 + math.Sin(float64(i/4))
			default:
				values[j] = 25
			}
		}
		mono := time.Hour + time.Duration(i)*250*time.Millisecond + time.Duration(rng.IntN(60000))
		r.sweeps = append(r.sweeps, run.Sweep{At: run.Instant{Mono: mono, Boot: mono, Wall: noon.Add(mono)}, Values: values, Setting: declaredWatts(25)})
	}
	return r
}

// What does storing one sweep cost, and what does a reading take?
func BenchmarkAppend(b *testing.B) {
	for name, r := range map[string]recording{"simulated device": simulated(b, 480), "60 noisy sensors": noisy(1920)} {
		b.Run(name, func(b *testing.B) {
			s := openTest(b)
			must(b, s.BeginRun(b.Context(), newRun("run-0001")))
			before := fileSize(b, s)
			batch := run.Batch{Device: "unit-oak", RunID: "run-0001", Sensors: r.sensors}
			sweeps := make([]run.Sweep, 4)
			step, stored := time.Duration(0), 0
			b.ReportAllocs()
			cpu := cpuTime(b)
			for b.Loop() {
				at := stored % len(r.sweeps)
				copy(sweeps, r.sweeps[at:at+4])
				for i := range sweeps {
					sweeps[i].At.Mono += step
					sweeps[i].At.Boot += step
					sweeps[i].At.Wall = sweeps[i].At.Wall.Add(step)
				}
				if stored += 4; stored%len(r.sweeps) == 0 {
					step += time.Duration(len(r.sweeps)) * 250 * time.Millisecond
				}
				batch.Sweeps = sweeps
				must(b, s.Append(b.Context(), batch))
			}
			b.ReportMetric(float64(cpuTime(b)-cpu)/float64(stored), "cpu-ns/sweep")
			b.ReportMetric(float64(fileSize(b, s)-before)/float64(stored*len(r.sensors)), "bytes/reading")
		})
	}
}

// cpuTime is what the process has used, waiting for the disk left out.
func cpuTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	must(b, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
