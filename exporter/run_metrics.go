package exporter

import (
	"slices"
	"time"

	"sweepd/run"
)

// exposedFor is how long a run that ended stays exposed.
const exposedFor = 5 * time.Minute

// finishedRun is a run that ended a short while ago.
type finishedRun struct {
	run   run.Run
	until time.Duration
}

// onEvent keeps a run that ended, to be exposed with its findings, and the corrections of
// it while it is exposed. A run that was interrupted is not kept: it ended long ago, or
// the agent is ending.
func (m *Metrics) onEvent(e run.Event) {
	m.mu.Lock()
	defer m.mu.Unlock()
	switch {
	case e.Kind == run.RunEnded && e.Run.State != run.Interrupted:
		m.source.Snapshot(&m.snap)
		m.runsChanged = true
		m.dropOldRuns() // here too: without a scrape the list would grow
		m.finished = append(m.finished, finishedRun{e.Run, m.snap.Now.Mono + exposedFor})
	case e.Kind == run.RunCorrected:
		for i := range m.finished {
			if m.finished[i].run.ID == e.Run.ID {
				m.finished[i].run, m.runsChanged = e.Run, true
			}
		}
	}
}

// updateRuns exposes the run that is recording and those that ended lately. It
// touches the series only when these are others than at the last scrape.
func (m *Metrics) updateRuns() {
	m.dropOldRuns()
	// The run is compared, not its id: its labels are known a moment later.
	if !m.runsChanged && m.snap.Recording == m.recording {
		return
	}
	m.runsChanged, m.recording = false, m.snap.Recording
	m.families.info.Reset()
	m.families.findings.Reset()
	if r := m.snap.Recording; r != nil {
		m.families.info.WithLabelValues(labelValues(r.Labels, r.ID)...).Set(1)
	}
	for _, f := range m.finished {
		m.families.info.WithLabelValues(labelValues(f.run.Labels, f.run.ID)...).Set(1)
		for _, finding := range f.run.Findings {
			m.families.findings.WithLabelValues(labelValues(f.run.Labels, string(finding.Code), string(finding.Severity))...).Inc()
		}
	}
}

func (m *Metrics) dropOldRuns() {
	before := len(m.finished)
	m.finished = slices.DeleteFunc(m.finished, func(f finishedRun) bool { return f.until < m.snap.Now.Mono })
	m.runsChanged = m.runsChanged || before != len(m.finished)
}
