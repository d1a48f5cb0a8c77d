package main

import (
	"go/ast"
	"go/token"
	"slices"
	"strconv"
)

// An operator is one kind of mistake.
type operator struct {
	name string
	// at gives the ways in which the mistake can be made at a node, none where
	// it cannot. Those that do not compile are sorted out by the compiler.
	at func(s *source, n ast.Node, stack []ast.Node) []change
}

// operators are tried at every node. The first six are those of Offutt et al.
// 1996: relational, logical and arithmetic replacement, unary and absolute
// value, and the constant that DeMillo et al. 1978 disturb by one.
var operators = []operator{
	{"relational", relational},
	{"logical", logical},
	{"arithmetic", arithmetic},
	{"unary", unary},
	{"absolute", absolute},
	{"constant", constant},
	{"bound", bound},
	{"condition", condition},
	{"statement", statement},
	{"arguments", arguments},
	{"lock", lock},
	{"error", droppedError},
}

// relations are the other comparisons that a comparison is replaced by. What
// is compared for equality need not have an order.
var relations = map[token.Token][]token.Token{
	token.LSS: {token.LEQ, token.GTR, token.GEQ, token.EQL, token.NEQ},
	token.LEQ: {token.LSS, token.GTR, token.GEQ, token.EQL, token.NEQ},
	token.GTR: {token.GEQ, token.LSS, token.LEQ, token.EQL, token.NEQ},
	token.GEQ: {token.GTR, token.LSS, token.LEQ, token.EQL, token.NEQ},
	token.EQL: {token.NEQ},
	token.NEQ: {token.EQL},
}

var connectors = map[token.Token][]token.Token{
	token.LAND: {token.LOR},
	token.LOR:  {token.LAND},
}

var arithmetics = map[token.Token][]token.Token{
	token.ADD:     {token.SUB, token.MUL},
	token.SUB:     {token.ADD, token.MUL},
	token.MUL:     {token.QUO, token.ADD},
	token.QUO:     {token.MUL, token.SUB},
	token.REM:     {token.QUO, token.MUL},
	token.AND:     {token.OR},
	token.OR:      {token.AND},
	token.XOR:     {token.OR},
	token.AND_NOT: {token.AND},
	token.SHL:     {token.SHR},
	token.SHR:     {token.SHL},

	token.ADD_ASSIGN: {token.SUB_ASSIGN, token.ASSIGN},
	token.SUB_ASSIGN: {token.ADD_ASSIGN, token.ASSIGN},
	token.MUL_ASSIGN: {token.QUO_ASSIGN, token.ASSIGN},
	token.QUO_ASSIGN: {token.MUL_ASSIGN, token.ASSIGN},
	token.REM_ASSIGN: {token.QUO_ASSIGN, token.ASSIGN},
	token.AND_ASSIGN: {token.OR_ASSIGN, token.ASSIGN},
	token.OR_ASSIGN:  {token.AND_ASSIGN, token.ASSIGN},
	token.SHL_ASSIGN: {token.SHR_ASSIGN},
	token.SHR_ASSIGN: {token.SHL_ASSIGN},
}

// instead replaces a token by each of others.
func (s *source) instead(at token.Pos, is token.Token, others map[token.Token][]token.Token) []change {
	var c []change
	for _, other := range others[is] {
		start := s.offset(at)
		c = append(c, change{{start, start + len(is.String()), other.String()}})
	}
	return c
}

// relational replaces a comparison by another. That a length is not 0 is the same
// as that it is above.
func relational(s *source, n ast.Node, _ []ast.Node) []change {
	e, is := n.(*ast.BinaryExpr)
	if !is {
		return nil
	}
	changes := s.instead(e.OpPos, e.Op, relations)
	call, is := e.X.(*ast.CallExpr)
	if is && s.of(call.Fun) == "len" && s.of(e.Y) == "0" && e.Op == token.GTR {
		changes = slices.DeleteFunc(changes, func(c change) bool { return c[0].text == token.NEQ.String() })
	}
	return changes
}

// logical takes and for or, and or for and.
func logical(s *source, n ast.Node, _ []ast.Node) []change {
	if e, is := n.(*ast.BinaryExpr); is {
		return s.instead(e.OpPos, e.Op, connectors)
	}
	return nil
}

// arithmetic replaces an arithmetic operation by another.
func arithmetic(s *source, n ast.Node, _ []ast.Node) []change {
	switch e := n.(type) {
	case *ast.BinaryExpr:
		if !joinsText(e) {
			return s.instead(e.OpPos, e.Op, arithmetics)
		}
	case *ast.AssignStmt:
		return s.instead(e.TokPos, e.Tok, arithmetics)
	}
	return nil
}

// joinsText tells whether a sum has a text that is written out in it.
func joinsText(e *ast.BinaryExpr) bool {
	for _, x := range []ast.Expr{e.X, e.Y} {
		switch x := x.(type) {
		case *ast.BasicLit:
			if x.Kind == token.STRING {
				return true
			}
		case *ast.BinaryExpr:
			if joinsText(x) {
				return true
			}
		}
	}
	return false
}

// unary drops a sign or a negation, turns an increment around, and puts a minus
// before a whole arithmetic expression.
func unary(s *source, n ast.Node, stack []ast.Node) []change {
	switch e := n.(type) {
	case *ast.UnaryExpr:
		if e.Op == token.SUB || e.Op == token.NOT {
			return []change{{s.replace(e, s.of(e.X))}}
		}
	case *ast.IncDecStmt:
		turned := map[token.Token]string{token.INC: "--", token.DEC: "++"}[e.Tok]
		start := s.offset(e.TokPos)
		return []change{{{start, start + 2, turned}}}
	case *ast.BinaryExpr:
		if _, is := arithmetics[e.Op]; !is || joinsText(e) || e.Op == token.OR || e.Op == token.AND {
			return nil
		}
		if outer, is := stack[len(stack)-1].(*ast.BinaryExpr); is {
			if _, is := arithmetics[outer.Op]; is {
				return nil
			}
		}
		return []change{{s.replace(e, "-("+s.of(e)+")")}}
	}
	return nil
}

// absolute forgets to take an absolute value, and takes the larger of two for
// the smaller.
func absolute(s *source, n ast.Node, _ []ast.Node) []change {
	call, is := n.(*ast.CallExpr)
	if !is {
		return nil
	}
	switch name := s.of(call.Fun); name {
	case "math.Abs":
		return []change{{s.replace(call, "("+s.of(call.Args[0])+")")}, {s.replace(call, "-math.Abs("+s.of(call.Args[0])+")")}}
	case "min", "math.Min", "slices.Min", "max", "math.Max", "slices.Max":
		other := map[string]string{
			"min": "max", "math.Min": "math.Max", "slices.Min": "slices.Max",
			"max": "min", "math.Max": "math.Min", "slices.Max": "slices.Min",
		}[name]
		return []change{{s.replace(call.Fun, other)}}
	}
	return nil
}

// constant disturbs a number by one, makes it nothing or ten times as much, and
// takes false for true; but not where it stands beside an error: whoever returns one
// promises nothing else.
func constant(s *source, n ast.Node, stack []ast.Node) []change {
	if len(stack) > 0 {
		if ret, is := stack[len(stack)-1].(*ast.ReturnStmt); is && s.returnsError(ret, stack) {
			return nil
		}
	}
	switch e := n.(type) {
	case *ast.BasicLit:
		if e.Kind != token.INT && e.Kind != token.FLOAT {
			return nil
		}
		value, err := strconv.ParseFloat(e.Value, 64)
		if err != nil { // 0o644, 0x1f
			value = 2
		}
		others := []string{"(" + e.Value + " + 1)", "(" + e.Value + " - 1)"}
		if value != 0 {
			others = append(others, "("+e.Value+" * 10)")
		}
		if value != 0 && value != 1 {
			others = append(others, "0")
		}
		var c []change
		for _, other := range others {
			c = append(c, change{s.replace(e, other)})
		}
		return c
	case *ast.Ident:
		switch e.Name {
		case "true":
			return []change{{s.replace(e, "false")}}
		case "false":
			return []change{{s.replace(e, "true")}}
		}
	}
	return nil
}

// bound is off by one in an index or a slice's end that is not a plain number.
func bound(s *source, n ast.Node, _ []ast.Node) []change {
	var bounds []ast.Expr
	switch e := n.(type) {
	case *ast.IndexExpr:
		bounds = []ast.Expr{e.Index}
	case *ast.SliceExpr:
		bounds = []ast.Expr{e.Low, e.High}
	}
	var c []change
	for _, b := range bounds {
		if _, plain := b.(*ast.BasicLit); b == nil || plain {
			continue
		}
		c = append(c, change{s.replace(b, s.of(b)+"+1")}, change{s.replace(b, s.of(b)+"-1")})
	}
	return c
}

// condition turns the condition of an if or a for around.
func condition(s *source, n ast.Node, _ []ast.Node) []change {
	var cond ast.Expr
	switch n := n.(type) {
	case *ast.IfStmt:
		cond = n.Cond
	case *ast.ForStmt:
		cond = n.Cond
	}
	if cond == nil {
		return nil
	}
	return []change{{s.replace(cond, "!("+s.of(cond)+")")}}
}

// statement forgets a statement, or a case of a switch.
func statement(s *source, n ast.Node, stack []ast.Node) []change {
	st, is := n.(ast.Stmt)
	if !is {
		return nil
	}
	list := listAround(stack)
	if !slices.Contains(list, st) {
		return nil
	}
	switch st := st.(type) {
	case *ast.AssignStmt:
		if st.Tok == token.DEFINE { // what uses the names would not compile
			return nil
		}
	case *ast.ExprStmt:
		if _, _, locks := s.lockCall(st); locks {
			return nil
		}
	case *ast.DeferStmt:
		if _, _, locks := s.lockCall(st); locks {
			return nil
		}
	case *ast.ReturnStmt: // at a function's end it either is needed or does nothing
		if _, body := stack[len(stack)-1].(*ast.BlockStmt); body && len(stack) > 1 && st == list[len(list)-1] {
			switch stack[len(stack)-2].(type) {
			case *ast.FuncDecl, *ast.FuncLit:
				return nil
			}
		}
	case *ast.DeclStmt, *ast.EmptyStmt, *ast.LabeledStmt:
		return nil
	}
	return []change{{s.replace(st, "")}}
}

// listAround is the list of statements that the innermost node of a stack holds.
func listAround(stack []ast.Node) []ast.Stmt {
	switch n := stack[len(stack)-1].(type) {
	case *ast.BlockStmt:
		return n.List
	case *ast.CaseClause:
		return n.Body
	case *ast.CommClause:
		return n.Body
	}
	return nil
}

// arguments swaps two neighbouring arguments of a call, unless their order does
// not matter.
func arguments(s *source, n ast.Node, _ []ast.Node) []change {
	call, is := n.(*ast.CallExpr)
	if !is || call.Ellipsis.IsValid() || slices.Contains([]string{"min", "max", "math.Min", "math.Max", "math.Hypot"}, s.of(call.Fun)) {
		return nil
	}
	var c []change
	for i := 1; i < len(call.Args); i++ {
		a, b := call.Args[i-1], call.Args[i]
		if s.of(a) != s.of(b) {
			c = append(c, change{s.replace(a, s.of(b)), s.replace(b, s.of(a))})
		}
	}
	return c
}

// lock takes and releases a lock nowhere in a function.
func lock(s *source, n ast.Node, stack []ast.Node) []change {
	st, is := n.(*ast.ExprStmt)
	if !is {
		return nil
	}
	of, name, is := s.lockCall(st)
	if !is || name != "Lock" && name != "RLock" {
		return nil
	}
	var body ast.Node
	for _, outer := range stack {
		if f, is := outer.(*ast.FuncDecl); is {
			body = f.Body
		}
	}
	if body == nil {
		return nil
	}
	var c change
	ast.Inspect(body, func(n ast.Node) bool {
		if st, is := n.(ast.Stmt); is {
			if other, _, is := s.lockCall(st); is && other == of {
				c = append(c, s.replace(st, ""))
			}
		}
		return true
	})
	return []change{c}
}

// lockCall takes apart a statement that takes or releases a lock: the lock and
// the method.
func (s *source) lockCall(st ast.Stmt) (of, name string, is bool) {
	var call *ast.CallExpr
	switch st := st.(type) {
	case *ast.ExprStmt:
		call, _ = st.X.(*ast.CallExpr)
	case *ast.DeferStmt:
		call = st.Call
	}
	if call == nil || len(call.Args) > 0 {
		return "", "", false
	}
	method, is := call.Fun.(*ast.SelectorExpr)
	if !is || !slices.Contains([]string{"Lock", "Unlock", "RLock", "RUnlock"}, method.Sel.Name) {
		return "", "", false
	}
	return s.of(method.X), method.Sel.Name, true
}

// droppedError returns no error where a function returns one.
func droppedError(s *source, n ast.Node, stack []ast.Node) []change {
	ret, is := n.(*ast.ReturnStmt)
	if !is || !s.returnsError(ret, stack) {
		return nil
	}
	return []change{{s.replace(ret.Results[len(ret.Results)-1], "nil")}}
}

// returnsError tells whether the last of what is returned is an error, and not
// plainly none.
func (s *source) returnsError(ret *ast.ReturnStmt, stack []ast.Node) bool {
	results := resultsAround(stack)
	if results == nil || len(ret.Results) == 0 || results.NumFields() != len(ret.Results) {
		return false
	}
	last := results.List[len(results.List)-1]
	return s.of(last.Type) == "error" && s.of(ret.Results[len(ret.Results)-1]) != "nil"
}

// resultsAround is what the innermost function of a stack returns.
func resultsAround(stack []ast.Node) *ast.FieldList {
	for _, n := range slices.Backward(stack) {
		switch f := n.(type) {
		case *ast.FuncLit:
			return f.Type.Results
		case *ast.FuncDecl:
			return f.Type.Results
		}
	}
	return nil
}
