package bounded

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/token"
)

// deepest is how many levels of lists and sections a file may have; ours have three.
const deepest = 16

// BoundError is what a file of YAML may not have, and where.
type BoundError struct{ *yaml.SyntaxError }

// DecodeYAML reads YAML into a struct, whose keys are all that there may be; a file of
// comments alone leaves it as it is. It fails with a BoundError, before it takes memory,
// where lists and sections lie in one another too deep, or an anchor stands for more
// than one text or number: copies of copies can make any size of a few lines; so, too,
// where there is a second document, or a number that is not in decimal notation.
func DecodeYAML(text []byte, into any) error {
	if err := checkYAML(lexer.Tokenize(string(text))); err != nil {
		return err
	}
	err := yaml.NewDecoder(bytes.NewReader(text), yaml.Strict()).Decode(into)
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

func checkYAML(tokens token.Tokens) error {
	brackets := 0
	begun, ended := false, false // the document
	directive := 0               // the line of one
	var open []int               // columns at which the lists and sections that are open begin
	for i, t := range tokens {
		column := 0
		switch {
		case t.Type == token.DirectiveType:
			directive = t.Position.Line
		case t.Position.Line == directive, t.Type == token.CommentType, t.Type == token.DocumentEndType, t.Type == token.DocumentHeaderType:
		case ended:
			return bound(t, "a second document begins here: a file is one")
		default:
			begun = true
		}
		switch t.Type {
		case token.DocumentEndType, token.DocumentHeaderType:
			ended = begun
		case token.HexIntegerType, token.OctetIntegerType, token.BinaryIntegerType:
			return bound(t, notDecimal)
		case token.IntegerType, token.FloatType:
			if strings.Contains(t.Value, "_") {
				return bound(t, notDecimal)
			}
		case token.SequenceStartType, token.MappingStartType:
			brackets++
		case token.SequenceEndType, token.MappingEndType:
			brackets = max(brackets-1, 0)
		case token.SequenceEntryType, token.MappingKeyType:
			column = t.Position.Column
		case token.MappingValueType:
			column = tokens[max(i-1, 0)].Position.Column // its key's
		case token.AnchorType:
			if !isAnchoredScalar(tokens[i+1:]) {
				return bound(t, "an anchor may stand for one text or number only: write lists and sections where they belong")
			}
		}
		if brackets == 0 && column > 0 {
			for len(open) > 0 && open[len(open)-1] >= column {
				open = open[:len(open)-1]
			}
			open = append(open, column)
		}
		if brackets+len(open) > deepest {
			return bound(t, fmt.Sprintf("lists and sections lie in one another more than %d deep", deepest))
		}
	}
	return nil
}

const notDecimal = "write numbers in decimal notation, such as 1000, and texts that look like one in quotes"

func bound(t *token.Token, message string) error {
	return &BoundError{&yaml.SyntaxError{Message: message, Token: t}}
}

// isAnchoredScalar tells whether an anchor's name and one value come next.
func isAnchoredScalar(tokens token.Tokens) bool {
	if len(tokens) < 2 || !isScalar(tokens[1]) {
		return false
	}
	return len(tokens) < 3 || tokens[2].Type != token.MappingValueType
}

func isScalar(t *token.Token) bool {
	switch t.Type {
	case token.StringType, token.SingleQuoteType, token.DoubleQuoteType, token.IntegerType, token.HexIntegerType, token.OctetIntegerType,
		token.BinaryIntegerType, token.FloatType, token.BoolType, token.NullType, token.InfinityType, token.NanType:
		return true
	}
	return false
}
