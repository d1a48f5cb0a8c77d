package text

import "sweepd/report/sentence"

// Dash stands for a number that is not known.
const Dash = sentence.Dash

// Numbers as the sentences write them.
var (
	Fixed           = sentence.Fixed
	Decimals        = sentence.Decimals
	Significant     = sentence.Significant
	Compact         = sentence.Compact
	WithUnit        = sentence.WithUnit
	WithUncertainty = sentence.WithUncertainty
	Watts           = sentence.Watts
	SignedPercent   = sentence.SignedPercent
	ShortID         = sentence.ShortID
)
