package console

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/bcrypt"
)

// TestBasicAuthentication uses the web configuration file as users of Prometheus
// exporters know it.
func TestBasicAuthentication(t *testing.T) {
	hash, err := bcrypt.GenerateFromPassword([]byte("secret"), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "web.yml")
	if err := os.WriteFile(file, fmt.Appendf(nil, "basic_auth_users:\n  tester: %s\n", hash), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := CheckWebConfig(file); err != nil {
		t.Fatal(err)
	}
	ls, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() {
		served <- Serve(ctx, ls, newTestHandler(&fakeAgent{}), file, nil, slog.New(slog.DiscardHandler))
	}()
	for user, want := range map[string]string{"": "USER:PASSWORD", "tester:wrong@": "USER:PASSWORD", "tester:secret@": ""} {
		c, err := NewClient("http://" + user + ls[0].Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		_, err = c.Status(ctx)
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("as %q: %v, want %q", user, err, want)
		}
		if err != nil && strings.Contains(err.Error(), "wrong@") {
			t.Errorf("the error tells the password: %v", err)
		}
	}
	cancel()
	if err := <-served; err != nil {
		t.Errorf("serve: %v", err)
	}
	if err := os.WriteFile(file, []byte("basic_auth_usrs: {}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := CheckWebConfig(file); err == nil || !strings.Contains(err.Error(), file) {
		t.Errorf("an unknown key: %v", err)
	}
}
