package console

import (
	"bytes"
	"flag"
	"os"
	"testing"
)

var update = flag.Bool("update", false, "write docs/openapi.json anew")

// TestOpenAPIFile holds the file to what the program has.
func TestOpenAPIFile(t *testing.T) {
	const file = "../docs/openapi.json"
	want, err := OpenAPI()
	if err != nil {
		t.Fatal(err)
	}
	want = append(want, '\n')
	if *update {
		if err := os.WriteFile(file, want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(file)
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("docs/openapi.json is not what the program has (go test ./console -run OpenAPIFile -update): %v", err)
	}
}
