package conntrack

import (
	"context"
	"errors"
	"net"
	"testing"
)

func TestConnectionsAreOpened(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	c, err := NewDialContextFunc(DialWithTracing(), DialWithName("one"))(context.Background(), "tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	c.Close()
	refused := errors.New("refused")
	open := NewDialContextFunc(
		DialWithDialContextFunc(func(context.Context, string, string) (net.Conn, error) { return nil, refused }), DialWithName("one"))
	if _, err := open(context.Background(), "tcp", l.Addr().String()); !errors.Is(err, refused) {
		t.Errorf("not by the function given: %v", err)
	}
}
