package physics

import (
	"go/ast"
	"go/token"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// hasSource finds what counts as a source: the name of who published it, what is true by
// definition, or the words by which a number owns that nobody did.
var hasSource = regexp.MustCompile(`IAPWS|CODATA|NIST|ASTM|ISO |definition|Pfeiffer|DIN |CRC|Kell|Griffin|Richardson|Refutas|Plank|` +
	`Stokes|Machinery Lubrication|maker's|trade source|common practice, no source|guess, no source|from memory|rule of this project, no source`)

// telling is a number that says something of the world: three figures or more, not a power
// of ten or a count of units.
var telling = regexp.MustCompile(`[1-9]\d\d`)

func isTelling(literal string) bool {
	digits := strings.NewReplacer("_", "", ".", "").Replace(literal)
	digits, _, _ = strings.Cut(strings.ToLower(digits), "e")
	return telling.MatchString(strings.Trim(digits, "0"))
}

// A number is a literal and what is written beside it.
func saysWhence(file *ast.File, node ast.Node, docs ...*ast.CommentGroup) bool {
	for _, group := range file.Comments {
		if node.Pos() <= group.Pos() && group.End() <= node.End() {
			docs = append(docs, group)
		}
	}
	for _, doc := range docs {
		if doc != nil && hasSource.MatchString(strings.ReplaceAll(doc.Text(), "\n", " ")) {
			return true
		}
	}
	return false
}

// literals are the numbers of a node, those of ranges left out: what type limit says holds
// for all of these.
func literals(node ast.Node, counts func(literal string) bool) (found []string) {
	ast.Inspect(node, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CompositeLit:
			if name, ok := n.Type.(*ast.Ident); ok && name.Name == "limit" {
				return false
			}
		case *ast.BasicLit:
			if n.Kind != token.STRING && n.Kind != token.CHAR && counts(n.Value) {
				found = append(found, n.Value)
			}
		}
		return true
	})
	return found
}

// Every number at the top of a file, and every telling one within a function, has its
// source beside it, or owns that it has none.
func TestEveryNumberHasItsSource(t *testing.T) {
	seen := 0
	for path, file := range sources(t) {
		for _, d := range file.Decls {
			switch d := d.(type) {
			case *ast.GenDecl:
				for _, spec := range d.Specs {
					v, ok := spec.(*ast.ValueSpec)
					if !ok || v.Names[0].Name == "calcs" { // names its sources in a field
						continue
					}
					if numbers := literals(v, func(string) bool { return true }); len(numbers) > 0 {
						seen++
						require.True(t, saysWhence(file, v, d.Doc, v.Doc, v.Comment), "%s: %s %v has no source", path, v.Names[0].Name, numbers)
					}
				}
			case *ast.FuncDecl:
				if numbers := literals(d, isTelling); len(numbers) > 0 {
					seen++
					require.True(t, saysWhence(file, d, d.Doc), "%s: %s has %v without a source", path, d.Name.Name, numbers)
				}
			}
		}
	}
	require.Greater(t, seen, 40)
}

func TestARangeOwnsThatItIsOurs(t *testing.T) {
	for _, file := range sources(t) {
		for _, d := range file.Decls {
			if g, ok := d.(*ast.GenDecl); ok && g.Tok == token.TYPE && g.Specs[0].(*ast.TypeSpec).Name.Name == "limit" {
				require.Contains(t, strings.ReplaceAll(g.Doc.Text(), "\n", " "), "rule of this project, no source")
				return
			}
		}
	}
	require.Fail(t, "type limit is not found")
}
