package daemon

import (
	"context"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"sumpbook/maintenance"
)

// seasons is n entries of two pumps in steady use, from day0 on: load, start, stop, yield,
// drain, decant, filter, fill, and what is left to the waste, a cycle a day each. Invented.
func seasons(t testing.TB, n int) []maintenance.Entry {
	t.Helper()
	var all []maintenance.Entry
	at := day0
	tell := func(after time.Duration, line string, args ...any) {
		at = at.Add(after)
		all = append(all, entry(t, at, fmt.Sprintf(line, args...)))
	}
	for _, p := range []string{"north", "south"} {
		tell(time.Minute, `{"kind":"pump","pump":%q,"charge_ml":700,"heel_ml":20,"speed_m3_h":7,"trap_c":-42}`, p)
		tell(time.Minute, `{"kind":"lot","lot":"lot-%s","vessel":"can-%s","grams":100000}`, p, p)
		for _, jar := range []string{"drained", "clear", "ready"} {
			tell(time.Minute, `{"kind":"vessel","vessel":"%s-%s"}`, jar, p)
		}
		tell(time.Minute, `{"kind":"vessel","vessel":"waste-%s","waste":true}`, p)
		tell(time.Minute, `{"kind":"fill","pump":%q,"from":"can-%s"}`, p, p)
	}
	tell(time.Minute, `{"kind":"medium","medium":"paper"}`)
	for day := 0; len(all) < n; day++ {
		for _, p := range []string{"north", "south"} {
			tell(time.Minute, `{"kind":"load","pump":%q,"grams":4000}`, p)
			tell(time.Minute, `{"kind":"start","pump":%q}`, p)
		}
		at = at.Add(20 * time.Hour)
		for _, p := range []string{"north", "south"} {
			tell(time.Minute, `{"kind":"stop","pump":%q,"hot_c":66}`, p)
			tell(time.Minute, `{"kind":"yield","pump":%q,"grams":900}`, p)
			tell(time.Minute, `{"kind":"drain","pump":%q,"to":"drained-%s"}`, p, p)
			tell(time.Minute, `{"kind":"decant","from":"drained-%s","to":"clear-%s"}`, p, p)
			tell(time.Minute, `{"kind":"pour","from":"drained-%s","to":"waste-%s"}`, p, p)
			tell(time.Minute, `{"kind":"filter","from":"clear-%s","to":"ready-%s","kept_g":1,"minutes":15}`, p, p)
			tell(time.Minute, `{"kind":"lot","lot":"lot-%s","vessel":"ready-%s","grams":90}`, p, p)
			tell(time.Minute, `{"kind":"fill","pump":%q,"from":"ready-%s"}`, p, p)
			tell(time.Minute, `{"kind":"pour","from":"ready-%s","to":"waste-%s"}`, p, p)
			tell(time.Minute, `{"kind":"discard","from":"waste-%s"}`, p)
		}
		at = at.Add(2 * time.Hour)
	}
	return all[:n]
}

// longBook is a book of n entries at a path, closed.
func longBook(tb testing.TB, n int) string {
	tb.Helper()
	path := filepath.Join(tb.TempDir(), "book.db")
	b := openBook(tb, path)
	all := seasons(tb, n)
	for len(all) > 0 {
		part := all[:min(len(all), 20_000)]
		_, err := b.Record(context.Background(), part[len(part)-1].At, part)
		require.NoError(tb, err)
		all = all[len(part):]
	}
	require.NoError(tb, b.Close())
	return path
}

// From the entry to the next action, on a short book and on a long one: compare the two.
func BenchmarkEntryToNextAction(b *testing.B) {
	for _, n := range []int{1_000, 1_000_000} {
		b.Run(fmt.Sprintf("journal=%d", n), func(b *testing.B) {
			book := openBook(b, longBook(b, n))
			defer book.Close()
			now := book.now.Load().state.At
			ctx := context.Background()
			for b.Loop() {
				now = now.Add(time.Second)
				e := maintenance.Entry{At: now, Act: &maintenance.NoteAct{Pump: "north"}, Note: "looked at"}
				if _, err := book.Record(ctx, now, []maintenance.Entry{e}); err != nil {
					b.Fatal(err)
				}
				st, err := book.Stand(Moment{}, now)
				if err != nil || maintenance.Next(st.State, book.rules, now) == nil {
					b.Fatal("nothing to do, or ", err)
				}
			}
		})
	}
}

// Sixty-four writers at once: our shared commit against bbolt's Batch with the same bytes.
func BenchmarkSixtyFourWriters(b *testing.B) {
	const writers = 64
	b.Run("book", func(b *testing.B) {
		book := openBook(b, filepath.Join(b.TempDir(), "book.db"))
		defer book.Close()
		at := day0
		spread(b, writers, func(int64) error {
			e := maintenance.Entry{At: at, Act: &maintenance.NoteAct{}, Note: strings.Repeat("x", 120)}
			_, err := book.Record(context.Background(), at, []maintenance.Entry{e})
			return err
		})
	})
	b.Run("batch", func(b *testing.B) {
		line := maintenance.Encode(maintenance.Seal(maintenance.Entry{ID: newID(day0), At: day0, Act: &maintenance.NoteAct{}, Note: strings.Repeat("x", 120)}, 1, day0, maintenance.ZeroHash))
		db, err := bbolt.Open(filepath.Join(b.TempDir(), "batch.db"), 0o600, &bbolt.Options{FreelistType: bbolt.FreelistMapType})
		require.NoError(b, err)
		defer db.Close()
		require.NoError(b, db.Update(func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("e")); return err }))
		spread(b, writers, func(n int64) error {
			return db.Batch(func(tx *bbolt.Tx) error {
				return tx.Bucket([]byte("e")).Put(binary.BigEndian.AppendUint64(nil, uint64(n)), line)
			})
		})
	})
}

// spread does b.N writes from so many writers at once.
func spread(b *testing.B, writers int, write func(n int64) error) {
	var next atomic.Int64
	var all sync.WaitGroup
	b.ResetTimer()
	for range writers {
		all.Go(func() {
			for n := next.Add(1); n <= int64(b.N); n = next.Add(1) {
				if err := write(n); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	all.Wait()
	b.StopTimer()
}

// Ten years of two pumps: open the book and answer state, with a checkpoint and without.
func BenchmarkOpenTenYears(b *testing.B) {
	path := longBook(b, 50_000)
	for _, c := range []struct {
		name  string
		rules func() maintenance.Rules
	}{
		{"checkpoint", maintenance.DefaultRules},
		{"fold-anew", func() maintenance.Rules { r := maintenance.DefaultRules(); r.ShortestRun++; return r }},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				book, err := OpenBook(path, c.rules())
				if err != nil {
					b.Fatal(err)
				}
				st, err := book.Stand(Moment{}, day0)
				if err != nil || len(st.State.View(book.rules, st.At, st.Seq, st.Head).Pumps) != 2 {
					b.Fatal("no state, or ", err)
				}
				book.saved.Store(book.now.Load().seq) // so that closing writes no checkpoint by the other rules
				if err := book.Close(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// What a daemon with a book of a million entries has resident a little after its start, in
// a process of its own: of its own memory, and with the mapped file.
func BenchmarkMemoryOfALongBook(b *testing.B) {
	data := b.TempDir()
	require.NoError(b, os.Rename(longBook(b, 1_000_000), BookPath(data)))
	for b.Loop() {
		cmd := as(b, "rest", data)
		out, err := cmd.Output()
		require.NoError(b, err)
		var own, all float64
		_, err = fmt.Sscan(string(out), &own, &all)
		require.NoError(b, err)
		b.ReportMetric(own, "own-MiB")
		b.ReportMetric(all, "resident-MiB")
	}
}

func init() { roles["rest"] = rest }

// rest is a daemon that nobody asks anything, and that tells its memory after a while.
func rest(data string) error {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	return Serve(ctx, quickSettings(data), func(string) {
		time.AfterFunc(3*time.Second, func() { fmt.Println(resident("RssAnon"), resident("VmRSS")) })
	})
}

// resident is a figure of this process that the kernel tells, in MiB.
func resident(name string) (mib float64) {
	b, _ := os.ReadFile("/proc/self/status")
	for line := range strings.Lines(string(b)) {
		if rest, is := strings.CutPrefix(line, name+":"); is {
			_, _ = fmt.Sscan(rest, &mib)
		}
	}
	return mib / 1024
}
