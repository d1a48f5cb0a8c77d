package schedule

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"

	"sweepd/internal/bounded"
)

// requestFile is a Request with its estimates, as a YAML file has them.
type requestFile struct {
	Devices   textList `yaml:"devices"`
	Workloads textList `yaml:"workloads"`
	Settings  textList `yaml:"settings"`
	Supplies  textList `yaml:"supplies"`
	Variants  textList `yaml:"variants"`
	Hard      textList `yaml:"hard"`
	Repeats   *repeats `yaml:"repeats"`
	Seed      *uint64  `yaml:"seed"`
	Run       duration `yaml:"run"`
	Pause     duration `yaml:"pause"`
	Battery   struct {
		FullWh  float64 `yaml:"full_wh"`
		Reserve float64 `yaml:"reserve"`
		ChargeW float64 `yaml:"charge_w"`
	} `yaml:"battery"`
}

const requestKeys = "devices, workloads, settings, supplies, variants, hard, repeats, seed, run, pause, battery (full_wh, reserve, charge_w)"

// textList reads one text or a list of them; a number is taken as its text.
type textList []string

var _ yaml.NodeUnmarshaler = (*textList)(nil)

func (t *textList) UnmarshalYAML(node ast.Node) error {
	*t = textList{}
	list, isList := node.(*ast.SequenceNode)
	if !isList {
		return t.add(node)
	}
	for _, v := range list.Values {
		if err := t.add(v); err != nil {
			return err
		}
	}
	return nil
}

func (t *textList) add(node ast.Node) error {
	switch node.(type) {
	case *ast.SequenceNode, *ast.MappingNode, *ast.MappingValueNode, *ast.NullNode:
		return &yaml.SyntaxError{Message: "want a text or a list of texts", Token: node.GetToken()}
	}
	*t = append(*t, node.GetToken().Value)
	return nil
}

// duration is a time such as 90s or 5m.
type duration time.Duration

var _ yaml.NodeUnmarshaler = (*duration)(nil)

func (d *duration) UnmarshalYAML(node ast.Node) error {
	v, err := ParseDuration(node.GetToken().Value)
	if err != nil {
		return &yaml.SyntaxError{Message: err.Error(), Token: node.GetToken()}
	}
	*d = duration(v)
	return nil
}

// repeats is a number of passes, 1 to 100.
type repeats int

var _ yaml.NodeUnmarshaler = (*repeats)(nil)

func (n *repeats) UnmarshalYAML(node ast.Node) error {
	v, err := strconv.Atoi(node.GetToken().Value)
	if err == nil {
		err = CheckRepeats(v)
	} else {
		err = fmt.Errorf("want a whole number of repeats from 1 to %d", maxRepeats)
	}
	if err != nil {
		return &yaml.SyntaxError{Message: err.Error(), Token: node.GetToken()}
	}
	*n = repeats(v)
	return nil
}

// ParseDuration reads the length of a run or a pause: 1 s to 24 h.
func ParseDuration(text string) (time.Duration, error) {
	v, err := time.ParseDuration(text)
	if err != nil || v < time.Second || v > 24*time.Hour {
		return 0, fmt.Errorf("%q is no time such as 90s or 5m, from 1 s to 24 h", text)
	}
	return v, nil
}

// ReadRequest reads the YAML file of a test day. hasSeed tells whether the file gives
// the seed. Errors name file, line and column.
func ReadRequest(r io.Reader, file string) (q Request, e Estimates, hasSeed bool, err error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return q, e, false, fmt.Errorf("plan %s: %w", file, err)
	}
	var f requestFile
	if err := bounded.DecodeYAML(text, &f); err != nil {
		return q, e, false, fmt.Errorf("plan %s: %w", file, withPosition(err))
	}
	q = Request{Devices: f.Devices, Workloads: f.Workloads, Settings: f.Settings, Supplies: f.Supplies, Variants: f.Variants, Hard: f.Hard}
	if f.Repeats != nil {
		q.Repeats = int(*f.Repeats)
	}
	if f.Seed != nil {
		q.Seed, hasSeed = *f.Seed, true
	}
	if f.Run > 0 {
		e.RunDuration = map[string]time.Duration{"": time.Duration(f.Run)}
	}
	e.Pause = time.Duration(f.Pause)
	if b := (Battery{FullWh: f.Battery.FullWh, Reserve: f.Battery.Reserve, ChargeW: f.Battery.ChargeW}); b != (Battery{}) {
		if err := b.Check(); err != nil {
			return q, e, hasSeed, fmt.Errorf("plan %s: battery: %w", file, err)
		}
		e.Batteries = map[string]Battery{"": b}
	}
	return q, e, hasSeed, nil
}

// Check tells why no battery can be like this. Zeros are unknown.
func (b Battery) Check() error {
	for what, v := range map[string]float64{"full_wh": b.FullWh, "charge_w": b.ChargeW} {
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 || v > 1e5 {
			return fmt.Errorf("%s is %s: want a number above 0", what, strconv.FormatFloat(v, 'g', -1, 64))
		}
	}
	if math.IsNaN(b.Reserve) || b.Reserve < 0 || b.Reserve >= 1 {
		return fmt.Errorf("reserve is %v: want a share of at least 0 and below 1", b.Reserve)
	}
	return nil
}

// withPosition turns the library's error, which has an excerpt of the file, into one
// sentence with line and column.
func withPosition(err error) error {
	var y yaml.Error
	if !errors.As(err, &y) || y.GetToken() == nil {
		return err
	}
	at := y.GetToken().Position
	var unknown *yaml.UnknownFieldError
	if errors.As(err, &unknown) {
		return fmt.Errorf("line %d, column %d: unknown key %q: the keys are %s", at.Line, at.Column, y.GetToken().Value, requestKeys)
	}
	return fmt.Errorf("line %d, column %d: %q: %s", at.Line, at.Column, strings.TrimSpace(y.GetToken().Value), y.GetMessage())
}
