// Package schedule says when and in which order things happen: the idle sweeps
// of a device that is not in a run, asked for by cron. It asks the agent and
// never touches a collector.
package schedule
