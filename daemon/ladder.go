package daemon

import (
	"slices"
	"sort"
	"time"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
)

// rungEvery is how many entries lie between two rungs next to the newest.
const rungEvery = 32

// A rung is the state after so many entries in the order of happening.
type rung struct {
	n     int
	state *maintenance.State
}

// A ladder keeps states to go on from when an entry comes late: closely spaced near the
// newest, ever wider towards the oldest, so that a late entry costs about as many folds as
// there are entries after it, and the memory grows with the logarithm of the journal. It is
// a cache: without it the answer is the same. Values are shared, so they are never written.
type ladder []rung

// with adds the state that n entries have made, if it is due, and thins the older rungs:
// one at distance d stays if its number is a multiple of the spacing there.
func (l ladder) with(n int, s *maintenance.State) ladder {
	if n%rungEvery != 0 {
		return l
	}
	out := make(ladder, 0, len(l)+1)
	for _, r := range l {
		if r.n%spacing(n-r.n) == 0 {
			out = append(out, r)
		}
	}
	return append(out, rung{n, s.Clone()})
}

// spacing doubles with the distance from the newest entry.
func spacing(distance int) int {
	space := rungEvery
	for d := distance / (8 * rungEvery); d > 0; d >>= 1 {
		space *= 2
	}
	return space
}

// sparse picks a few rungs to write down, each about four times as far from the newest
// entry as the one after it.
func (l ladder) sparse(n int) (few ladder) {
	want := rungEvery
	for i := len(l) - 1; i >= 0; i-- {
		if n-l[i].n >= want {
			few = append(few, l[i])
			want = 4 * (n - l[i].n)
		}
	}
	slices.Reverse(few)
	return few
}

// before gives the rungs whose last entry is before the position, newest last.
func (l ladder) before(p journal.Position) ladder {
	i := sort.Search(len(l), func(i int) bool { return !isBefore(l[i].state, p) })
	return l[:i:i]
}

// upTo gives the newest rung that holds nothing after the instant.
func (l ladder) upTo(at time.Time) (rung, bool) {
	i := sort.Search(len(l), func(i int) bool { return l[i].state.At.After(at) })
	if i == 0 {
		return rung{}, false
	}
	return l[i-1], true
}

func (l ladder) last() rung {
	if len(l) == 0 {
		return rung{0, maintenance.NewState()}
	}
	return l[len(l)-1]
}

func isBefore(s *maintenance.State, p journal.Position) bool {
	return precedes(journal.Position{At: s.At, Seq: s.Seq}, p)
}
