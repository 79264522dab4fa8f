package daemon

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
)

// fold puts new entries in their places by the time they happened and asks whether the book
// still holds. At its end that is one step from the newest state; a late entry or a void
// goes on from the rung before it.
func (w *taking) fold(r *sifted) (folded, error) {
	switch {
	case len(r.fresh) == 0:
		return folded{state: w.state, count: w.count, ladder: w.ladder}, nil
	case len(r.fresh) == 1 && isBefore(w.state, positionOf(r.fresh[0])):
		if _, isVoid := r.fresh[0].Act.(*maintenance.VoidAct); !isVoid {
			return w.foldNext(r)
		}
	}
	return w.foldLate(r)
}

func (w *taking) foldNext(r *sifted) (folded, error) {
	e := r.fresh[0]
	remarks, err := w.state.Apply(w.book.rules, e)
	if err != nil {
		return folded{}, r.explain(err, e)
	}
	r.remark(e, remarks)
	return folded{w.state, w.count + 1, w.ladder.with(w.count+1, w.state), nil}, nil
}

func (w *taking) foldLate(r *sifted) (folded, error) {
	voids, from, err := w.withdrawn(r)
	if err != nil {
		return folded{}, err
	}
	rungs := w.ladder.before(from)
	f := folded{state: rungs.last().state.Clone(), count: rungs.last().n, ladder: rungs, voids: voids}
	err = w.walk(f.state, r.fresh, voids, func(e maintenance.Entry) error {
		remarks, err := f.state.Apply(w.book.rules, e)
		if err != nil {
			return r.explain(err, e)
		}
		r.remark(e, remarks)
		f.count++
		f.ladder = f.ladder.with(f.count, f.state)
		return nil
	})
	return f, err
}

// remark answers with what an entry means, if it is one of the request.
func (r *sifted) remark(e maintenance.Entry, remarks []string) {
	if at, mine := r.place[e.Seq]; mine {
		r.Entries[at].Remarks = append(r.Entries[at].Remarks, remarks...)
	}
}

// explain names, for a request that the book cannot take, the line that is wrong or the
// later entry that it would make impossible.
func (r *sifted) explain(err error, e maintenance.Entry) error {
	var why *maintenance.Rejection
	if !errors.As(err, &why) {
		return err
	}
	if _, mine := r.place[e.Seq]; mine {
		why.Line = r.lines[e.Seq]
		return why
	}
	refused := &maintenance.Rejection{
		Field: "at", Blocks: e.ID,
		Says: fmt.Sprintf("it would make a later entry impossible, the %s %s of %s: %s", e.Act.Kind(), e.ID, e.At.Format(time.RFC3339), why.Says),
		Hint: "void the later entry in the same request, or tell this one at another time",
	}
	if len(r.fresh) == 1 {
		refused.Entry = r.fresh[0].ID
	}
	return refused
}

// withdrawn collects the ids that the new voids take away, and the place from which the
// book has to be folded anew.
func (w *taking) withdrawn(r *sifted) (voids map[string]bool, from journal.Position, err error) {
	within := map[string]maintenance.Entry{}
	voids, from = map[string]bool{}, positionOf(r.fresh[0])
	for _, e := range r.fresh {
		within[e.ID] = e
		from = earlier(from, positionOf(e))
		v, ok := e.Act.(*maintenance.VoidAct)
		if !ok {
			continue
		}
		target, err := w.voidable(v.Entry, within, voids)
		if why := (*maintenance.Rejection)(nil); errors.As(err, &why) {
			why.Entry, why.Field, why.Line = e.ID, "entry", r.lines[e.Seq]
		}
		if err != nil {
			return nil, from, err
		}
		voids[v.Entry] = true
		from = earlier(from, positionOf(target))
	}
	return voids, from, nil
}

func positionOf(e maintenance.Entry) journal.Position { return journal.Position{At: e.At, Seq: e.Seq} }

func precedes(p, q journal.Position) bool {
	return p.At.Before(q.At) || p.At.Equal(q.At) && p.Seq < q.Seq
}

func earlier(p, q journal.Position) journal.Position {
	if precedes(q, p) {
		return q
	}
	return p
}

// voidable is the entry a void names: told before it, not itself a void, not yet withdrawn.
func (w *taking) voidable(id string, within map[string]maintenance.Entry, voids map[string]bool) (maintenance.Entry, error) {
	target, found := within[id]
	if !found {
		var err error
		if target, found, err = w.onBook(id); err != nil {
			return target, err
		}
	}
	if !found {
		return target, &maintenance.Rejection{Says: fmt.Sprintf("no entry %s is on the book", id), Hint: "give an id that export shows"}
	}
	if _, isVoid := target.Act.(*maintenance.VoidAct); isVoid {
		return target, &maintenance.Rejection{Says: "a void cannot be withdrawn", Hint: "record what is to hold again under a new id"}
	}
	if _, gone := w.book.journal.VoidOf(target.Seq); gone || w.voids[id] || voids[id] {
		return target, &maintenance.Rejection{Says: fmt.Sprintf("entry %s is withdrawn already", id), Hint: "nothing is left to void"}
	}
	return target, nil
}

// walk goes through the book after a state, in the order of happening: what is committed,
// what was taken, and what is new, without the withdrawn.
func (w *taking) walk(from *maintenance.State, fresh []maintenance.Entry, voids map[string]bool, fn func(maintenance.Entry) error) error {
	start := after(from)
	var added []maintenance.Entry
	for _, some := range [][]maintenance.Entry{w.batch.Entries, fresh} {
		for _, e := range some {
			if !precedes(positionOf(e), start) {
				added = append(added, e)
			}
		}
	}
	slices.SortFunc(added, func(a, b maintenance.Entry) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Seq, b.Seq))
	})
	step := func(e maintenance.Entry) error {
		if voids[e.ID] || w.voids[e.ID] {
			return nil
		}
		return fn(e)
	}
	err := w.book.journal.InOrder(start, func(e maintenance.Entry) error {
		for len(added) > 0 && maintenance.Before(added[0], e) {
			if err := step(added[0]); err != nil {
				return err
			}
			added = added[1:]
		}
		if _, gone := w.book.journal.VoidOf(e.Seq); gone {
			return nil
		}
		return step(e)
	})
	for ; err == nil && len(added) > 0; added = added[1:] {
		err = step(added[0])
	}
	return err
}

// after is the first position that a state does not hold.
func after(s *maintenance.State) journal.Position {
	if s.At.IsZero() {
		return journal.Position{}
	}
	return journal.Position{At: s.At, Seq: s.Seq + 1}
}
