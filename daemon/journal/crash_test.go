package journal

import (
	"context"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Killed at any moment, a writer has lost nothing that it acknowledged, and left no half
// of a batch: with each entry came a notice.
func TestKilledWriterLosesNothing(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "book.db")
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	for range rounds(t, 60) {
		told := killedAfter(t, path, time.Duration(random.IntN(20_000))*time.Microsecond)
		j, err := Open(path)
		require.NoError(t, err)
		r := verified(t, j)
		require.NoError(t, j.Close())
		require.GreaterOrEqual(t, r.Seq, told)
		require.LessOrEqual(t, r.Seq, told+4, "at most one batch more")
		require.Equal(t, r.Seq, r.Notices)
	}
}

func killedAfter(t *testing.T, path string, wait time.Duration) (told uint64) {
	t.Helper()
	ctx, kill := context.WithCancel(context.Background())
	defer kill()
	cmd := as(ctx, t, "append", path)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	first := true
	told = acknowledged(out, func(uint64) {
		if first {
			time.AfterFunc(wait, kill)
		}
		first = false
	})
	var killed *exec.ExitError
	require.ErrorAs(t, cmd.Wait(), &killed)
	require.Equal(t, "signal: killed", killed.Error())
	require.NotZero(t, told)
	return told
}
