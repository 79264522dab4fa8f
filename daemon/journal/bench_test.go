package journal

import (
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// thousands makes a journal of so many entries.
func thousands(t testing.TB, n int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "book.db")
	j, err := Open(path)
	require.NoError(t, err)
	j.db.NoSync = true // in the making only
	s := continuing(j)
	for made := 0; made < n; made += 500 {
		appended(t, j, s.notes(500)...)
	}
	require.NoError(t, j.db.Sync())
	require.NoError(t, j.Close())
	return path
}

func BenchmarkAppend(b *testing.B) {
	for _, n := range []int{1, 64} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			j := fresh(b)
			s := continuing(j)
			for b.Loop() {
				appended(b, j, s.notes(n)...)
			}
		})
	}
}

func BenchmarkOpenAndWalk(b *testing.B) {
	path := thousands(b, 50_000)
	for b.Loop() {
		j, err := Open(path)
		require.NoError(b, err)
		require.NoError(b, j.InOrder(Position{}, func(maintenance.Entry) error { return nil }))
		require.NoError(b, j.Close())
	}
}

func BenchmarkMillion(b *testing.B) {
	if testing.Short() {
		b.Skip("half a gigabyte")
	}
	path := thousands(b, 1_000_000)
	b.Run("open", func(b *testing.B) {
		for b.Loop() {
			j, err := Open(path)
			require.NoError(b, err)
			require.NoError(b, j.Close())
		}
	})
	j, err := Open(path)
	require.NoError(b, err)
	defer j.Close()
	b.Run("lookup", func(b *testing.B) {
		for b.Loop() {
			_, ok, err := j.Lookup(fmt.Sprintf("note-%07d", 1+rand.IntN(1_000_000)))
			require.NoError(b, err)
			require.True(b, ok)
		}
	})
	b.Run("append", func(b *testing.B) {
		s := continuing(j)
		for b.Loop() {
			appended(b, j, s.note())
		}
	})
}
