package journal

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// A journal held elsewhere is refused within two seconds, with the holder's name.
func TestHeldJournalIsRefused(t *testing.T) {
	t.Parallel()
	path := sample(t)
	holder := as(t.Context(), t, "hold", path)
	in, err := holder.StdinPipe()
	require.NoError(t, err)
	out, err := holder.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, holder.Start())
	_, err = out.Read(make([]byte, 1))
	require.NoError(t, err, "it has it")

	for _, open := range []func(string) (*Journal, error){Open, OpenReadOnly} {
		began := time.Now()
		_, err = open(path)
		require.ErrorIs(t, err, ErrLocked)
		require.ErrorContains(t, err, path)
		require.Less(t, time.Since(began), 2*time.Second)
		if _, proc := os.Stat("/proc/locks"); proc == nil {
			require.ErrorContains(t, err, fmt.Sprintf("process %d has it", holder.Process.Pid))
		}
	}
	require.NoError(t, in.Close())
	require.NoError(t, holder.Wait())
	verified(t, opened(t, path))
}

// Many who start at once in an empty folder get one journal between them.
func TestCreationAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "book.db")
	var all sync.WaitGroup
	ids := make(chan string, 8)
	for range cap(ids) {
		all.Go(func() {
			out, err := as(t.Context(), t, "append once", path).CombinedOutput()
			if err != nil && !strings.Contains(string(out), ErrLocked.Error()) {
				t.Errorf("%v: %s", err, out)
			}
			if err == nil {
				ids <- strings.TrimSpace(string(out))
			}
		})
	}
	all.Wait()
	close(ids)
	last, told := opened(t, path), map[string]bool{}
	for seq := range ids {
		require.False(t, told[seq], "two were told the same head")
		told[seq] = true
	}
	seq, _ := last.Head()
	require.True(t, told[fmt.Sprint(seq)])
}

func TestCreationLeavesAJournalAlone(t *testing.T) {
	path := sample(t)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, create(path), "another process was quicker")
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after)
	require.ErrorIs(t, place(copied(t, path), path), os.ErrExist)
}

// When a journal cannot be opened again, reads fail too, rather than find nothing; later
// it can.
func TestReopeningMayFail(t *testing.T) {
	path := sample(t)
	j := opened(t, path)
	require.NoError(t, os.Rename(path, path+".away"))
	require.ErrorIs(t, j.Reopen(), os.ErrNotExist)
	_, _, err := j.Lookup("note-0000001")
	require.ErrorIs(t, err, os.ErrNotExist)
	require.ErrorIs(t, j.Append(&Batch{Entries: continuing(j).notes(1)}), ErrUnknown)
	require.NoFileExists(t, path, "and nothing is begun anew")
	require.NoError(t, os.Rename(path+".away", path))
	require.NoError(t, j.Reopen())
	appended(t, j, continuing(j).notes(1)...)
}

// Readers of all kinds and a writer do not disturb each other.
func TestReadsWhileWriting(t *testing.T) {
	t.Parallel()
	j := fresh(t)
	s := continuing(j)
	appended(t, j, s.notes(10)...)
	ctx, stop := context.WithCancel(t.Context())
	var readers sync.WaitGroup
	for _, read := range []func() error{
		func() error { _, _, err := j.Lookup("note-0000007"); return err },
		func() error { return j.InOrder(Position{}, func(maintenance.Entry) error { return nil }) },
		func() error { return j.Lines(0, func(uint64, []byte) error { return nil }) },
		func() error { _, err := j.Verify(context.Background(), nil); return err },
		func() error { _, _, err := j.Checkpoint(); return err },
		func() error { _, err := j.LastNotices(3); return err },
		func() error { return j.Voids(func(_, _ uint64) error { return nil }) },
	} {
		readers.Go(func() {
			for ctx.Err() == nil {
				if err := read(); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	for i := range 60 {
		appended(t, j, s.notes(1+i%9)...)
		if i%10 == 0 {
			require.NoError(t, j.PutCheckpoint(Checkpoint{s.seq, s.hash, make([]byte, 5000)}))
			require.NoError(t, j.Reopen())
		}
	}
	stop()
	readers.Wait()
}

// The map of 64 MiB is address space; and what has been touched of it is given back, so
// that a daemon stays small beside a large journal.
func TestMemoryIsGivenBack(t *testing.T) {
	if _, err := os.Stat("/proc/self/status"); err != nil {
		t.Skip("skipped: no /proc/self/status")
	}
	const n = 40_000
	j, err := Open(thousands(t, n))
	require.NoError(t, err)
	defer j.Close()
	s, before := continuing(j), mappedKiB(t)
	for what, do := range map[string]func(){
		"verify": func() { verified(t, j) },
		"walk":   func() { require.NoError(t, j.InOrder(Position{}, func(maintenance.Entry) error { return nil })) },
		"lookups": func() {
			for i := range n / 100 {
				_, ok, err := j.Lookup(fmt.Sprintf("note-%07d", 1+i*100))
				require.NoError(t, err)
				require.True(t, ok)
			}
		},
		"appends": func() {
			for range 100 {
				appended(t, j, s.note())
			}
		},
	} {
		do()
		require.Less(t, mappedKiB(t)-before, 8<<10, what)
	}
}

// mappedKiB is what mapped files take of the process's memory.
func mappedKiB(t *testing.T) int {
	t.Helper()
	b, err := os.ReadFile("/proc/self/status")
	require.NoError(t, err)
	for line := range bytes.Lines(b) {
		if f := strings.Fields(string(line)); f[0] == "RssFile:" {
			n, err := strconv.Atoi(f[1])
			require.NoError(t, err)
			return n
		}
	}
	t.Fatal("no RssFile")
	return 0
}

// A file cut short is no journal, and not one of a newer version; nothing panics on bytes.
func FuzzValues(f *testing.F) {
	key := seqKey(1)
	n := notice(1)
	n.Seq = 1
	value, err := encodeNotice(n)
	require.NoError(f, err)
	f.Add(value[4:])
	f.Add(append(link{1, maintenance.ZeroHash}.encode(), "blob"...))
	f.Add([]byte(`{"seq":1,"seq":1}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		if n, err := decodeNotice(key, withSum(key, b)); err == nil {
			again, err := encodeNotice(n)
			require.NoError(t, err)
			back, err := decodeNotice(key, again)
			require.NoError(t, err)
			require.Equal(t, n.Key, back.Key)
			require.True(t, n.At.Equal(back.At))
		}
		if c, ok := decodeCheckpoint(withSum(keyNewest, b)); ok {
			require.Equal(t, b, append(link{c.Seq, c.Hash}.encode(), c.Blob...))
		}
		_, ok := withoutSum(key, b)
		require.False(t, ok && len(b) < 4)
		_, _ = checkLine(b, 1)
		_, _, _ = cells(b, nil, nil, nil)
	})
}
