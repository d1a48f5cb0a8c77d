package run

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"testing"
)

// Every constant of type Code is among the codes.
func TestCodesAreAll(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "finding.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var declared []string
	ast.Inspect(file, func(n ast.Node) bool {
		v, ok := n.(*ast.ValueSpec)
		if !ok {
			return true
		}
		if name, ok := v.Type.(*ast.Ident); ok && name.Name == "Code" {
			text, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Error(err)
			}
			declared = append(declared, text)
		}
		return true
	})
	slices.Sort(declared)
	if len(declared) < 20 || !slices.Equal(declared, Codes()) {
		t.Errorf("declared are %v, the codes are %v", declared, Codes())
	}
}
