// Package conntrack stands in for github.com/mwitkow/go-conntrack, of which
// prometheus/common needs these four functions: connections are opened, and neither counted
// nor traced. The original imports golang.org/x/net/trace, which makes its pages with
// html/template as every program starts; go.mod has this in its place.
package conntrack

import (
	"context"
	"net"
)

type (
	dial   = func(ctx context.Context, network, address string) (net.Conn, error)
	option func(*dial)
)

// NewDialContextFunc returns the function that opens connections: that of
// DialWithDialContextFunc, else that of a net.Dialer without bounds.
func NewDialContextFunc(options ...option) dial {
	open := (&net.Dialer{}).DialContext
	for _, set := range options {
		set(&open)
	}
	return open
}

// DialWithDialContextFunc has connections opened by f.
func DialWithDialContextFunc(f dial) option { return func(open *dial) { *open = f } }

// DialWithName would name the connections that are counted.
func DialWithName(string) option { return func(*dial) {} }

// DialWithTracing would have connections traced.
func DialWithTracing() option { return func(*dial) {} }
