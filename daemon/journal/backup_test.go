package journal

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// Backups taken while eight write open, verify, and hold a prefix of the journal.
func TestBackupUnderLoad(t *testing.T) {
	j := fresh(t)
	s := continuing(j)
	appended(t, j, s.notes(500)...)
	var turn sync.Mutex // the caller chains entries, one at a time
	write := func() error {
		turn.Lock()
		defer turn.Unlock()
		return j.Append(&Batch{Entries: s.notes(7)})
	}
	stop := make(chan struct{})
	var writers sync.WaitGroup
	for range 8 {
		writers.Go(func() {
			for err := write(); err == nil; err = write() {
				select {
				case <-stop:
					return
				default:
				}
			}
			t.Error("a write failed")
		})
	}
	var copies []string
	for range rounds(t, 5) {
		to := filepath.Join(t.TempDir(), "copy.db")
		require.NoError(t, j.Backup(t.Context(), to))
		copies = append(copies, to)
	}
	close(stop)
	writers.Wait()
	all := export(t, j)
	for _, to := range copies {
		restored := filepath.Join(t.TempDir(), "restored.db")
		r, err := Restore(t.Context(), to, restored)
		require.NoError(t, err)
		back := opened(t, restored)
		require.Equal(t, j.ID(), back.ID())
		lines := export(t, back)
		require.Len(t, lines, int(r.Seq))
		require.Equal(t, all[:len(lines)], lines)
		appended(t, back, continuing(back).notes(3)...)
	}
}

func TestBackupOverwritesNothing(t *testing.T) {
	j := opened(t, sample(t))
	to := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, os.WriteFile(to, []byte("mine"), 0o600))
	require.ErrorIs(t, j.Backup(t.Context(), to), os.ErrExist)
	require.ErrorIs(t, j.Backup(t.Context(), j.Path()), os.ErrExist)
	b, err := os.ReadFile(to)
	require.NoError(t, err)
	require.Equal(t, "mine", string(b))
}

func TestFailedBackupLeavesNothing(t *testing.T) {
	j := opened(t, sample(t))
	folder := t.TempDir()
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, j.Backup(ended, filepath.Join(folder, "copy.db")), context.Canceled)
	files, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Empty(t, files)
	require.ErrorIs(t, j.Backup(t.Context(), filepath.Join(folder, "none", "copy.db")), os.ErrNotExist)
}

// A backup of a rotten journal would put a bad copy in the place of good ones.
func TestRottenJournalIsNotBackedUp(t *testing.T) {
	path := longer(t)
	rot(t, path, "note-0000040")
	j, err := Open(path)
	require.NoError(t, err, "opening looks at the tail only")
	defer j.Close()
	to := filepath.Join(t.TempDir(), "copy.db")
	require.ErrorIs(t, j.Backup(t.Context(), to), ErrDamaged)
	require.NoFileExists(t, to)
}

// rot changes a letter of an entry's line.
func rot(t *testing.T, path, id string) {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	spoiled := 0
	for i := range len(b) - len(id) {
		if string(b[i:i+len(id)]) == id && b[i-1] == '"' {
			writeAt(t, path, []byte{b[i+40] ^ 1}, int64(i+40))
			spoiled++
		}
	}
	require.NotZero(t, spoiled)
}

func TestRestoreRefuses(t *testing.T) {
	t.Parallel()
	path, folder := sample(t), t.TempDir()
	cut, mine := copied(t, path), filepath.Join(folder, "mine.db")
	require.NoError(t, os.Truncate(cut, 3*pageSize))
	require.NoError(t, os.WriteFile(mine, []byte("mine"), 0o600))
	for name, c := range map[string]struct {
		from, to string
		want     error
	}{
		"no backup":              {path + ".none", "book.db", os.ErrNotExist},
		"a damaged one":          {cut, "book.db", ErrDamaged},
		"no journal at all":      {"backup_test.go", "book.db", ErrDamaged},
		"an empty file":          {os.DevNull, "book.db", ErrDamaged},
		"a journal that is open": {opened(t, sample(t)).Path(), "book.db", ErrLocked},
		"over a file":            {path, "mine.db", os.ErrExist},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Restore(t.Context(), c.from, filepath.Join(folder, c.to))
			require.ErrorIs(t, err, c.want)
			files, err := os.ReadDir(folder)
			require.NoError(t, err)
			require.Len(t, files, 1, "only the file that was there")
		})
	}
}

func TestRestoreReplacesAnEmptyFile(t *testing.T) {
	to := filepath.Join(t.TempDir(), "book.db")
	require.NoError(t, os.WriteFile(to, nil, 0o600))
	r, err := Restore(t.Context(), sample(t), to)
	require.NoError(t, err)
	require.Equal(t, Report{Seq: 10, Hash: r.Hash, Voids: 1, Notices: 3}, r)
	require.Len(t, export(t, opened(t, to)), 10)
}

// What the first version wrote stays readable for ever: its entries, invented, are in
// v1.jsonl as they were exported.
func TestFirstVersionOpens(t *testing.T) {
	fixture := filepath.Join("..", "..", "testdata", "journal", "v1")
	want, err := os.ReadFile(fixture + ".jsonl")
	require.NoError(t, err)
	j := opened(t, copied(t, fixture+".db"))
	got := ""
	for _, line := range export(t, j) {
		got += line + "\n"
	}
	require.Equal(t, string(want), got)
	require.Equal(t, Report{Seq: 10, Hash: j.head.hash, Voids: 1, Notices: 3}, verified(t, j))
	require.Equal(t, "BBY56QDCQGPUVC7BYIK7ZQIBJ4", j.ID())
	var order []uint64
	require.NoError(t, j.InOrder(Position{}, func(e maintenance.Entry) error {
		order = append(order, e.Seq)
		return nil
	}))
	require.Equal(t, []uint64{7, 1, 6, 2, 3, 4, 5, 8, 9, 10}, order)
	state, ok, err := j.Signal("north")
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, `{"on":true}`, string(state))
	c, ok, err := j.Checkpoint()
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, "derived", string(c.Blob))
	last, err := j.LastNotices(1)
	require.NoError(t, err)
	require.Equal(t, "drain/north/note-0000003", last[0].Key.Action)
	appended(t, j, continuing(j).notes(2)...)
}
