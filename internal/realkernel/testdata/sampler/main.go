// Sampler prints the guest's readings, one sweep a line: the rig's clock before
// and after, then online, status, rate, content, temperature and meter.
//
//	sampler PERIOD UNTIL_MS RATE CONTENT METER
//
// RATE and CONTENT are names of files of the battery, METER is a path.
package main

import (
	"fmt"
	"log"
	"os"
	"strconv"
	"strings"
	"time"
)

func main() {
	if len(os.Args) != 6 {
		log.Fatalf("sampler: want 5 arguments, got %q", os.Args[1:])
	}
	period, err := time.ParseDuration(os.Args[1])
	check(err)
	until, err := strconv.Atoi(os.Args[2])
	check(err)
	const supply = "/sys/class/power_supply/"
	paths := []string{
		supply + "ADP0/online", supply + "BAT0/status", supply + "BAT0/" + os.Args[3],
		supply + "BAT0/" + os.Args[4], "/sys/class/thermal/thermal_zone0/temp", os.Args[5],
	}
	for range time.Tick(period) {
		before := read(os.Getenv("RIG_CLOCK"))
		var line strings.Builder
		for _, path := range paths {
			fmt.Fprintf(&line, " %s", read(path))
		}
		after := read(os.Getenv("RIG_CLOCK"))
		fmt.Println(before, after, line.String())
		now, err := strconv.Atoi(after)
		check(err)
		if now >= until {
			return
		}
	}
}

func read(path string) string {
	text, err := os.ReadFile(path)
	check(err)
	return strings.TrimSpace(string(text))
}

func check(err error) {
	if err != nil {
		log.Fatal("sampler: ", err)
	}
}
