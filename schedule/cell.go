package schedule

import (
	"fmt"
	"maps"
	"strings"

	"sweepd/agent"
)

// Cell is one combination of device, workload, setting, supply and variant. The
// source of its setting means nothing.
type Cell struct{ agent.Labels }

// CellOf is the cell that a run belongs to.
func CellOf(r agent.Run) Cell { return Cell{r.Labels} }

// key tells cells apart.
func (c Cell) key() string {
	return strings.Join([]string{c.Device, c.Workload, c.Setting.String(), string(c.Supply), agent.VariantText(c.Variant)}, "\x00")
}

// String is the cell as a person reads it.
func (c Cell) String() string {
	parts := []string{c.Device, c.Workload, c.Setting.String()}
	if c.Supply != agent.SupplyUnknown {
		parts = append(parts, "on "+string(c.Supply))
	}
	if v := agent.VariantText(c.Variant); v != "" {
		parts = append(parts, v)
	}
	return strings.Join(parts, ", ")
}

// check tells why no run could be started as this cell.
func (c Cell) check() error {
	if err := agent.CheckLabel("device", c.Device); err != nil {
		return err
	}
	if err := agent.CheckLabel("workload", c.Workload); err != nil {
		return err
	}
	if !c.Setting.Known() {
		return fmt.Errorf("the setting is empty: give watts (25W) or a name (quiet)")
	}
	if c.Setting.Name != "" {
		if err := agent.CheckLabel("setting", c.Setting.Name); err != nil {
			return err
		}
	}
	for k, v := range c.Variant {
		if err := agent.CheckVariantPair(k, v); err != nil {
			return err
		}
	}
	switch c.Supply {
	case agent.Mains, agent.Battery:
		return nil
	}
	return fmt.Errorf("supply %q is neither mains nor battery", c.Supply)
}

func (c Cell) clone() Cell {
	c.Variant = maps.Clone(c.Variant)
	if c.Setting.Watts != nil {
		w := *c.Setting.Watts
		c.Setting.Watts = &w
	}
	return c
}
