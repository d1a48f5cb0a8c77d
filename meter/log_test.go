package meter

import (
	"math"
	"strings"
	"testing"
	"time"
)

var berlin = time.FixedZone("", 2*3600)

// The same three values in the forms that meters write.
func TestReadForms(t *testing.T) {
	nine := time.Date(2026, 5, 4, 9, 30, 0, 0, time.UTC)
	none := time.Time{}
	for name, c := range map[string]struct {
		text  string
		start time.Time
		first float64
	}{
		"RFC 3339":              {"time,power_w\n2026-05-04T09:30:00Z,10\n2026-05-04T09:30:00.5Z,11.5\n2026-05-04T09:30:01Z,12\n", nine, 0},
		"local":                 {"Timestamp,Watts\n2026-05-04 11:30:00,10\n2026-05-04 11:30:00.500,11.5\n2026-05-04 11:30:01,12\n", nine, 0},
		"with semicolons":       {"Zeit;\nDatum: 4.5.\n\nTime;Power [W]\n04.05.2026 11:30:00;10,0\n04.05.2026 11:30:00,5;11,5\n04.05.2026 11:30:01;12,0\n", nine, 0},
		"a time of day":         {"time\tpower (mW)\n11:30:00\t10000\n11:30:00.5\t11500\n11:30:01\t12000\n", nine, 0},
		"Unix seconds":          {"time,P (W)\n1777887000,10\n1777887000.5,11.5\n1777887001,12\n", nine, 0},
		"Unix milliseconds":     {"Timestamp,P (W)\n1777887000000,10\n1777887000500,11.5\n1777887001000,12\n", nine, 0},
		"seconds":               {"t (s),power_watts\n3,10\n3.5,11.5\n4,12\n", none, 3},
		"milliseconds":          {"time_ms,power_w\n3000,10\n3500,11.5\n4000,12\n", none, 3},
		"volts and amperes":     {"time_s,voltage_v,current_a,capacity_mah\n3,20,0.5,1\n3.5,23,0.5,2\n4,20,0.6,3\n", none, 3},
		"volts and milliamps":   {"time_s,Voltage (V),Current (mA)\n3,20,500\n3.5,23,500\n4,20,600\n", none, 3},
		"missing values":        {"time_s,power_w\n3,10\n3.2,\n3.3,-\n3.5,11.5\n3.7,NaN\n4,12\n", none, 3},
		"an energy beside it":   {"time_s,power_w,energy_wh\n3,10,1\n3.5,11.5,2\n4,12,3\n", none, 3},
		"a byte order mark":     {"\ufefftime_s,power_w\r\n3,10\r\n3.5,11.5\r\n4,12\r\n", none, 3},
		"a last line cut short": {"time_s,power_w\n3,10\n3.5,11.5\n4,12\n\n", none, 3},
	} {
		log, err := Read(strings.NewReader(c.text), Options{File: "log.csv", Zone: berlin, Day: nine})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !log.Start.Equal(c.start) || len(log.At) != 3 {
			t.Errorf("%s: from %v, %d values", name, log.Start, len(log.At))
			continue
		}
		for i, want := range []float64{10, 11.5, 12} {
			if at := c.first + 0.5*float64(i); math.Abs(log.Watts[i]-want) > 1e-9 || math.Abs(log.At[i]-at) > 1e-6 {
				t.Errorf("%s: value %d is %v W at %v, want %v at %v", name, i, log.Watts[i], log.At[i], want, at)
			}
		}
	}
}

func TestReadRefuses(t *testing.T) {
	rising := "time_s,power_w\n"
	for i := range 30 {
		rising += strings.Repeat("1", 1+i/10) + "." + string(rune('0'+i%10)) + ",1" + strings.Repeat("0", i/10) + "." + string(rune('0'+i%10)) + "\n"
	}
	for want, text := range map[string]string{
		"no line names columns":       "1,2\n3,4\n",
		"at least two are needed":     "time_s,power_w\n1,2\n",
		"several columns may be of":   "time_s,power_w,Power (W)\n1,2,3\n",
		"no column is of watts":       "time_s,voltage_v\n1,2\n",
		"is the unit right":           "time_s,power_w\n1,2\n2,15000\n",
		"line 3, column time_s":       "time_s,power_w\n1,2\n0.5,2\n",
		`"soon": it is no time`:       "time_s,power_w\n1,2\nsoon,2\n",
		"day or month first":          "time,power_w\n03/04/2026 09:30:00,2\n",
		"only rises, from 1 to":       rising,
		"(1,234 may be 1.234 or 1234": "time_s,power_w\n1,2\n2,\"1,234\"\n",
	} {
		if _, err := Read(strings.NewReader(text), Options{File: "log.csv"}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
	if _, err := Read(strings.NewReader("a,b,c\n"), Options{File: "log.csv", Watts: "b"}); err == nil {
		t.Error("columns whose names say nothing are read")
	}
}

// Columns whose names say nothing are named by whoever reads the log.
func TestReadNamedColumns(t *testing.T) {
	log, err := Read(strings.NewReader("Time;CH1;CH2\n1;2;3\n2;4;5\n"), Options{File: "log.csv", Watts: "ch2"})
	if err != nil || log.Watts[1] != 5 || log.From != "CH2" {
		t.Errorf("%+v, %v", log, err)
	}
}
