package report

import (
	"fmt"
	"slices"
	"strings"

	"sweepd/report/sentence"
	"sweepd/run"
)

// source is what a chart was made from, for its footer.
type source struct {
	runs       func(*run.Run) bool // whether a run that counts is part of it
	points     []int               // runs of each point; none: that is not said
	confidence float64             // of its intervals; 0: there are none
}

// ofGroups are the runs of devices with their variants, keys, in a workload on a supply.
func ofGroups(workload, supply string, keys [][2]string) func(*run.Run) bool {
	return func(r *run.Run) bool {
		return r.Workload == workload && string(r.Supply) == supply && slices.Contains(keys, [2]string{r.Device, string(r.Variant)})
	}
}

// mostFooterDevices is how many devices a footer names with their firmware.
const mostFooterDevices = 4

// footer says beneath a chart what was tested, on which supply, how many runs a point, the
// interval and when; then the conditions and the publisher's own line.
func (b *builder) footer(s source) []string {
	var runs []run.Run
	for i := range b.study.runs {
		if s.runs(&b.study.runs[i]) {
			runs = append(runs, b.study.runs[i])
		}
	}
	return b.footerOf(runs, s)
}

// footerOf is the footer of a chart of these runs.
func (b *builder) footerOf(runs []run.Run, s source) []string {
	var parts []string
	for _, part := range []string{b.testedDevices(runs), suppliesOf(runs), s.pointsWords(), s.intervalWords(), b.dates(runs)} {
		if part != "" {
			parts = append(parts, part)
		}
	}
	var lines []string
	for _, line := range []string{strings.Join(parts, " · "), b.in.Publication.Conditions, b.in.Publication.Credit} {
		if line != "" {
			lines = append(lines, line)
		}
	}
	return lines
}

// testedDevices names devices with their firmware, or counts them.
func (b *builder) testedDevices(runs []run.Run) string {
	devices := devicesOf(runs)
	if len(devices) > mostFooterDevices {
		return sentence.Counted(len(devices), "device")
	}
	for i, name := range devices {
		if k := slices.IndexFunc(b.in.Devices, func(d Device) bool { return d.Name == name }); k >= 0 {
			if versions := b.in.Devices[k].Facts["firmware_version"]; len(versions) > 0 {
				devices[i] += " with firmware " + sentence.Listed(slices.Sorted(slices.Values(versions)), 2)
			}
		}
	}
	return sentence.Listed(devices, mostFooterDevices)
}

func suppliesOf(runs []run.Run) string {
	list := levels(runs, func(r *run.Run) []string { return []string{string(r.Supply)} })
	for i := range list {
		list[i] = onSupply(list[i])
	}
	return sentence.Listed(list, len(list))
}

func (s *source) pointsWords() string {
	if len(s.points) == 0 {
		return ""
	}
	return runsText(s.points) + " a point"
}

func (s *source) intervalWords() string {
	if s.confidence == 0 {
		return ""
	}
	return fmt.Sprintf("bars are %.0f %% intervals", 100*s.confidence)
}

// dates are the days on which runs were made: the first and the last.
func (b *builder) dates(runs []run.Run) string {
	var first, last *run.Run
	for i := range runs {
		r := &runs[i]
		if r.StartedAt.IsZero() {
			continue
		}
		if first == nil || r.StartedAt.Before(first.StartedAt.Time) {
			first = r
		}
		if last == nil || r.StartedAt.After(last.StartedAt.Time) {
			last = r
		}
	}
	if first == nil {
		return ""
	}
	from, to := b.day(first.StartedAt.Time), b.day(last.StartedAt.Time)
	if from == to {
		return from
	}
	return from + " to " + to
}

// ofOneDevice are the runs of a device with its variant in a workload.
func ofOneDevice(workload, device, variant string) func(*run.Run) bool {
	return func(r *run.Run) bool {
		return r.Workload == workload && r.Device == device && string(r.Variant) == variant
	}
}
