package maintenance

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What DEVELOPERS.md says of the factors and of how often the statistics are right is what
// the code has and what the simulations measured.
func TestTheDocumentsSayWhatIsMeasured(t *testing.T) {
	read := func(path string) string {
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		return string(b)
	}
	text := read("../DEVELOPERS.md")
	for _, table := range []string{read("learn/testdata/coverage.md"), read("chart/testdata/rates.md"), factorTable()} {
		require.True(t, strings.Contains(text, strings.TrimSpace(table)), "DEVELOPERS.md is to hold:\n%s", table)
	}
}

func factorTable() string {
	var b strings.Builder
	b.WriteString("| factor | of | prior | applied from | pinned by |\n| --- | --- | --- | --- | --- |\n")
	for _, s := range factorSpecs {
		from := fmt.Sprintf("%d observations", s.least)
		if s.least == 1 {
			from = "1 observation"
		}
		if s.asks {
			from += ", after a yes"
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | `%s` |\n", s.name, s.means, s.basis, from, s.pin)
	}
	return b.String()
}
