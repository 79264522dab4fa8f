package journal

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
)

func calendarOf(t *testing.T, j *Journal) map[string][]byte {
	t.Helper()
	records, err := j.Calendar()
	require.NoError(t, err)
	return records
}

func TestTheCalendarIsKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "book.db")
	j, err := Open(path)
	require.NoError(t, err)
	require.Empty(t, calendarOf(t, j), "a file without any has an empty one")
	require.NoError(t, j.Append(&Batch{Calendar: map[string][]byte{"drain/north/a": []byte("one"), "fill/north/b": []byte("two")}}))
	require.NoError(t, j.Append(&Batch{Calendar: map[string][]byte{"drain/north/a": []byte("three")}}))
	want := map[string][]byte{"drain/north/a": []byte("three"), "fill/north/b": []byte("two")}
	require.Equal(t, want, calendarOf(t, j))
	seq, _ := j.Head()
	require.Zero(t, seq, "it is none of the entries")
	copied := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, j.Backup(t.Context(), copied))
	require.NoError(t, j.Close())
	for _, file := range []string{path, copied} {
		j, err := OpenReadOnly(file)
		require.NoError(t, err)
		require.Equal(t, want, calendarOf(t, j))
		_, err = j.Verify(t.Context(), nil)
		require.NoError(t, err)
		require.NoError(t, j.Close())
	}
}

func TestASpoiledCalendarIsDamage(t *testing.T) {
	path := filepath.Join(t.TempDir(), "book.db")
	j, err := Open(path)
	require.NoError(t, err)
	require.NoError(t, j.Append(&Batch{Calendar: map[string][]byte{"drain/north/a": []byte("as it was written")}}))
	require.NoError(t, j.Close())
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, bytes.ReplaceAll(b, []byte("as it was written"), []byte("as it was rewrote")), 0o600))
	j, err = Open(path)
	require.NoError(t, err)
	_, err = j.Calendar()
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorContains(t, err, "drain/north/a")
	_, err = j.Verify(t.Context(), nil)
	require.ErrorIs(t, err, ErrDamaged)
	require.NoError(t, j.Close())
}

// What an earlier program looks for in a file is still all there.
func TestACalendarChangesNoFormat(t *testing.T) {
	path := filepath.Join(t.TempDir(), "book.db")
	j, err := Open(path)
	require.NoError(t, err)
	require.NoError(t, j.Append(&Batch{Calendar: map[string][]byte{"drain/north/a": []byte("x")}}))
	require.NoError(t, j.Close())
	db, err := bbolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.View(func(tx *bbolt.Tx) error {
		for _, name := range buckets {
			require.NotNil(t, tx.Bucket(name), string(name))
		}
		require.NotContains(t, buckets, inCalendar, "no file needs to have one")
		return nil
	}))
	require.NoError(t, db.Close())
}
