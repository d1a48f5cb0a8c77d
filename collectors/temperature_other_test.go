package collectors

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"github.com/shirou/gopsutil/v3/host"
)

func TestOtherTemperatures(t *testing.T) {
	now, calls := time.Unix(0, 0), 0
	var stats []host.TemperatureStat
	var failure error
	c := &otherTemperatures{now: func() time.Time { return now }, list: func(context.Context) ([]host.TemperatureStat, error) {
		calls++
		return stats, failure
	}}
	failure = errors.New("refused by the system")
	if offers, absences := c.Scan(); len(offers) != 0 || len(absences) != 1 || absences[0].Why != failure.Error() {
		t.Fatalf("nothing there: offers %v, absences %v", offers, absences)
	}
	now = now.Add(temperatureRelist)
	stats, failure = []host.TemperatureStat{{SensorKey: "zone b", Temperature: 50.5}, {SensorKey: "zone a", Temperature: -12}, {SensorKey: "zone b", Temperature: 51}}, nil
	offers, absences := c.Scan()
	if len(offers) != 1 || len(absences) != 0 || len(offers[0].Sensors) != 2 {
		t.Fatalf("offers %v, absences %v", offers, absences)
	}
	before := calls
	if c.Scan(); calls != before {
		t.Error("the costly call is made at every scan")
	}
	p, err := offers[0].Open()
	if err != nil {
		t.Fatal(err)
	}
	v := make([]float64, 2)
	if err := p.Read(0, v); err != nil || v[0] != -12 || v[1] != 50.5 {
		t.Errorf("%v, %v; want -12 and 50.5, as the names are sorted", v, err)
	}
	stats = []host.TemperatureStat{{SensorKey: "zone b", Temperature: 52}, {SensorKey: "zone a", Temperature: 0}}
	first := p.Read(0, v)
	if again := p.Read(0, v); first == nil || again != first || !math.IsNaN(v[0]) || v[1] != 52 {
		t.Errorf("one of two unreadable: %v, errors %v and %v", v, first, again)
	}
	failure = errors.New("refused by the system")
	if err := p.Read(0, v); !errors.Is(err, failure) || v[1] != 52 {
		t.Errorf("an error beside values: %v, %v", v, err)
	}
}
