package actuators

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"sweepd/run"
)

// userCommand stands in for a program that sets and prints a value.
type userCommand struct {
	value string
	asked []string
}

func (u *userCommand) run(_ context.Context, words []string) (string, error) {
	u.asked = append(u.asked, fmt.Sprintf("%q", words))
	switch words[1] {
	case "set", "back":
		u.value = words[2]
		return "", nil
	case "read":
		return u.value, nil
	}
	return "", errors.New("exit status 2")
}

func (u *userCommand) actuator(key string, within Limits) Actuator {
	program, _ := os.Executable() // one that is there; it is not run
	return NewCommand(Command{Key: key, Set: []string{program, "set", "{}"}, Back: []string{program, "back", "{}"}, Read: []string{program, "read"}, Within: within, Run: u.run})
}

func of(v float64) *float64 { return &v }

// A command of the user's sets what the configuration allows, by words without a shell, in
// steps, and puts the first value back by its own command.
func TestCommandSets(t *testing.T) {
	u := &userCommand{value: "12W"}
	within := Limits{Min: of(8), Max: of(30), StepUp: of(10)}
	a := u.actuator(SetsSetting, within)
	if o := a.Offer(); o.Now != "12W" || o.Unit != "W" || !o.Writable || o.Missing != "" || *o.Max != 30 {
		t.Errorf("got %+v", o)
	}
	host := Host{Run: u.run}
	writes, err := a.Writes(Value{Setting: run.Watts(28)}, within)
	if err != nil || len(writes) != 2 || writes[0].Was != "12" || writes[0].Text != "22" || writes[1].Was != "22" || writes[1].Text != "28" {
		t.Fatalf("got %+v, %v", writes, err)
	}
	for _, w := range writes {
		if err := host.Write(t.Context(), w); err != nil {
			t.Fatal(err)
		}
		if err := obeyed(t.Context(), host, w); err != nil {
			t.Error(err)
		}
	}
	if w, err := a.Writes(Value{Setting: run.Watts(28)}, within); err != nil || len(w) > 0 {
		t.Errorf("set already: %v, %v", w, err)
	}
	if err := host.PutBack(t.Context(), writes[0]); err != nil || u.value != "12" {
		t.Errorf("%v, %q", err, u.value)
	}
	if last := u.asked[len(u.asked)-1]; !strings.HasSuffix(last, `"back" "12"]`) {
		t.Errorf("put back by %s", last)
	}
	// A value is one word, whatever is in it.
	w := writes[0]
	w.Text = "8; reboot $(id) {}"
	if err := host.Write(t.Context(), w); err != nil || u.value != w.Text {
		t.Errorf("%v, %q", err, u.value)
	}
}

func TestCommandRefuses(t *testing.T) {
	u := &userCommand{value: "12"}
	watts := Limits{Min: of(8), Max: of(30)}
	for _, c := range []struct {
		key    string
		within Limits
		now    string
		v      Value
		want   string
	}{
		{SetsSetting, watts, "12", Value{Setting: run.Watts(31)}, "31W is not from 8 to 30"},
		{SetsSetting, watts, "12", Value{Setting: run.Named("quiet")}, "quiet is not a number"},
		{"fan", watts, "12", Value{Text: "fast"}, "fast is not a number"},
		{"fan", watts, "12", Value{Text: "NaN"}, "NaN is not a number"},
		{"fan", Limits{Choices: []string{"slow"}}, "slow", Value{Text: "fast"}, `"fast" is none of the choices that the configuration allows: slow`},
		{SetsSetting, watts, "", Value{Setting: run.Watts(10)}, "printed nothing"},
		{SetsSetting, watts, "12\n13", Value{Setting: run.Watts(10)}, "where one line with what is set is wanted"},
		{SetsSetting, Limits{Min: of(8), Max: of(30), StepUp: of(5)}, "auto", Value{Setting: run.Watts(10)}, `printed "auto", where a number is wanted`},
		{SetsSetting, Limits{Min: of(8), Max: of(30), StepUp: of(5)}, "2", Value{Setting: run.Watts(10)}, "it has 2, from where the least that the configuration allows, 8, is more than step_up, 5"},
		{SetsSetting, Limits{Min: of(8), Max: of(30), StepUp: of(0.01)}, "8", Value{Setting: run.Watts(30)}, "more than 100 steps of step_up, 0.01"},
	} {
		u.value = c.now
		if w, err := u.actuator(c.key, c.within).Writes(c.v, c.within); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s of %s, which has %q: got %v, %v\nwant %q", c.v, c.key, c.now, w, err, c.want)
		}
	}
	none := NewCommand(Command{Key: SetsSetting})
	if o := none.Offer(); o.Missing == "" || o.Writable || o.Sources == nil || o.Choices == nil {
		t.Errorf("without a command: %+v", o)
	}
	if _, err := none.Writes(Value{Setting: run.Watts(10)}, Limits{}); err == nil {
		t.Error("without a command: no error")
	}
	if slices.ContainsFunc(u.asked, func(s string) bool { return strings.Contains(s, `"set"`) }) {
		t.Errorf("set something: %v", u.asked)
	}
}
