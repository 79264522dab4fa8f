package notify

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// pure are the files that decide; the others carry, and only they may touch the network.
var pure = map[string]bool{
	"notify.go": true, "ledger.go": true, "due.go": true, "digest.go": true, "quiet.go": true, "backoff.go": true,
	"text.go": true, "task.go": true, "explain.go": true, "reply.go": true, "token.go": true,
}

func TestArrowsAndClocks(t *testing.T) {
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		for _, spec := range file.Imports {
			path, err := strconv.Unquote(spec.Path.Value)
			require.NoError(t, err)
			if strings.HasPrefix(path, "sumpbook/") {
				require.Equal(t, "sumpbook/maintenance", path, "%s: notify stands on maintenance alone", name)
			}
			if pure[name] {
				require.NotRegexp(t, `^(net|net/http|os|io|context|sync|crypto/tls)$|go-mail|standard-webhooks`, path, "%s decides: it touches nothing outside", name)
			}
		}
		refuseClocks(t, name, file)
	}
}

// refuseClocks finds what reads the clock or arms a timer: now is an argument, and waits
// belong to the daemon.
func refuseClocks(t *testing.T, name string, file *ast.File) {
	ast.Inspect(file, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		if id, ok := sel.X.(*ast.Ident); ok && id.Name == "time" {
			require.NotContains(t, []string{"Now", "Since", "Until", "After", "AfterFunc", "Sleep", "Tick", "NewTimer", "NewTicker"}, sel.Sel.Name, name)
		}
		return true
	})
}
