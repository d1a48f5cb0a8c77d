package main

import (
	"testing"
)

// A run that takes its labels from the plan declares the setting for the plan, and the
// answers say so.
func TestThePlanDeclares(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	d.do("plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "15", "--supply", "mains")
	d.do("run", "start")
	wantWords(t, d.do("setting"), "15W (declared just now by the plan)")
	d.do("run", "stop")
}
