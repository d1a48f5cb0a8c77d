package main

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	slashpath "path"
	"path/filepath"
)

// source is one file of Go.
type source struct {
	path string // of the file
	name string // the same from the module's root, with slashes
	text []byte
	fset *token.FileSet
}

// findPlaces lists every place of every operator in the package's files that
// build for this system. Generated files have none.
func (p *goPackage) findPlaces() error {
	for _, name := range p.GoFiles {
		path := filepath.Join(p.Dir, name)
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		s := &source{path: path, name: slashpath.Join(p.path, name), text: text, fset: token.NewFileSet()}
		places, err := s.places()
		if err != nil {
			return err
		}
		p.places = append(p.places, places...)
	}
	return nil
}

// places lists every place of every operator in a file.
func (s *source) places() ([]*place, error) {
	file, err := parser.ParseFile(s.fset, s.path, s.text, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		return nil, fmt.Errorf("parse %s: %w", s.path, err)
	}
	if ast.IsGenerated(file) {
		return nil, nil
	}
	var found []*place
	seen := map[[3]string]int{}
	ast.PreorderStack(file, nil, func(n ast.Node, stack []ast.Node) bool {
		if _, is := n.(*ast.ImportSpec); is {
			return false
		}
		for _, o := range operators {
			changes := o.at(s, n, stack)
			if len(changes) == 0 {
				continue
			}
			line := 1 + bytes.Count(s.text[:changes[0][0].start], []byte("\n"))
			p := &place{file: s, line: line, function: functionOf(n, stack), operator: o.name, changes: changes}
			key := [3]string{p.function, p.operator, p.before()}
			seen[key]++
			p.nth = seen[key]
			found = append(found, p)
		}
		return true
	})
	return found, nil
}

// functionOf names the declared function that a node stands in, with its
// receiver's type; "" outside of functions.
func functionOf(n ast.Node, stack []ast.Node) string {
	for _, n := range append([]ast.Node{n}, stack...) {
		f, is := n.(*ast.FuncDecl)
		if !is {
			continue
		}
		if f.Recv == nil || len(f.Recv.List) == 0 {
			return f.Name.Name
		}
		t := f.Recv.List[0].Type
		if star, is := t.(*ast.StarExpr); is {
			t = star.X
		}
		if index, is := t.(*ast.IndexExpr); is {
			t = index.X
		}
		if id, is := t.(*ast.Ident); is {
			return id.Name + "." + f.Name.Name
		}
		return f.Name.Name
	}
	return ""
}

// offset is where a position is in the file, in bytes.
func (s *source) offset(p token.Pos) int { return s.fset.Position(p).Offset }

// of is a node's text.
func (s *source) of(n ast.Node) string { return string(s.text[s.offset(n.Pos()):s.offset(n.End())]) }

// replace is the edit that puts a text in a node's stead.
func (s *source) replace(n ast.Node, text string) edit {
	return edit{start: s.offset(n.Pos()), end: s.offset(n.End()), text: text}
}
