package analysis

// Groups are the runs that the comparison's sides consist of, by their labels.
func (c *Comparison) Groups() (a, b Group) { return c.pair.a, c.pair.b }
