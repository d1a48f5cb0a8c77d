package main

import (
	"os"
	"testing"
)

// An agent of this process would bring the whole process to its few megabytes, for all
// tests that follow: of the commands, the demo and the report, which would then collect
// garbage most of the time. What the agent takes is measured of the program
// (internal/cost).
func TestMain(m *testing.M) {
	for name, value := range map[string]string{"GOGC": "100", "GOMEMLIMIT": "off"} {
		if os.Getenv(name) == "" {
			if err := os.Setenv(name, value); err != nil {
				panic(err)
			}
		}
	}
	os.Exit(m.Run())
}
