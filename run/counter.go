package run

import "time"

// PlausibleWatts is more than any part of a portable computer draws, for however
// short: its processor, its graphics, or all of it. Common practice, no source.
const PlausibleWatts = 500

// counterSlack is how much later than usual a counter of energy may show what it
// counted; most refresh every millisecond. Common practice, no source.
const counterSlack = 100 * time.Millisecond

// CounterLate is how long a counter of energy may have stood still before its first
// reading: slow ones refresh once a second. Common practice, no source.
const CounterLate = time.Second

// PlausibleRise is more than a counter of energy can rise, J, when it last changed
// this long ago. One that stood still may have been late with what it counted, so
// the time since the last reading would not do.
func PlausibleRise(unchanged time.Duration) float64 {
	return PlausibleWatts * (unchanged + counterSlack).Seconds()
}
