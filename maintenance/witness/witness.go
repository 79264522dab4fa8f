// Package witness asks programs of others what they compute, for tests alone: a formula of
// ours is held against theirs over a whole grid, in one process.
//
// A witness is a short script in a package's testdata that reads JSON and answers JSON.
// Where the program is not installed the test is skipped and says so; CI installs all of
// them, and takes no skips.
package witness

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// python is Debian's own, which has the modules that the scripts want.
const python = "/usr/bin/python3"

// Ask puts a question to a script of testdata and fills in its answer.
func Ask(t testing.TB, script string, question, answer any) {
	t.Helper()
	if _, err := os.Stat(python); err != nil {
		t.Skipf("skipped: %v", err)
	}
	in, err := json.Marshal(question)
	require.NoError(t, err)
	run := exec.Command(python, filepath.Join("testdata", script))
	run.Stdin = bytes.NewReader(in)
	// Nothing is left beside the scripts, and no thread is started for small sums.
	run.Env = append(os.Environ(), "PYTHONDONTWRITEBYTECODE=1", "OPENBLAS_NUM_THREADS=1")
	out, err := run.Output()
	if failed, ok := errors.AsType[*exec.ExitError](err); ok {
		lines := strings.Split(strings.TrimSpace(string(failed.Stderr)), "\n")
		if last := lines[len(lines)-1]; strings.HasPrefix(last, "ModuleNotFoundError") {
			t.Skipf("skipped: %s", last)
		}
		require.Fail(t, script, strings.Join(lines, "\n"))
	}
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(out, answer))
}

// A Gap is the worst deviation of a comparison so far, and where it was.
type Gap struct{ worst, at float64 }

// Of takes one comparison in: how far ours is from theirs, in units of scale.
func (g *Gap) Of(at, ours, theirs, scale float64) {
	if d := math.Abs(ours-theirs) / scale; d > g.worst || math.IsNaN(d) {
		g.worst, g.at = d, at
	}
}

// Within fails the test if the worst deviation is above what was agreed, or not a number;
// go test -v shows it.
func (g *Gap) Within(t testing.TB, agreed float64, what string) {
	t.Helper()
	t.Logf("%s: worst %.2g at %g, agreed %g", what, g.worst, g.at, agreed)
	require.LessOrEqual(t, g.worst, agreed, "%s at %g", what, g.at)
}
