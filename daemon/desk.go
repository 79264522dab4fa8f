package daemon

import (
	"context"
	"slices"

	"sumpbook/daemon/web"
	"sumpbook/maintenance"
)

// recentEntries is how many of the newest entries a page shows.
const recentEntries = 30

// A desk is the keeper as the pages see it.
type desk struct{ *Keeper }

// Look shows the book now.
func (d desk) Look(context.Context) (web.View, error) {
	st, err := d.book.Stand(Moment{}, d.clock())
	if err != nil {
		return web.View{}, err
	}
	v := web.View{
		Now: st.At, Zone: d.settings.Config.Timezone, Units: d.settings.Config.Units, Demo: d.settings.Demo,
		State: st.State.View(d.book.rules, st.At, st.Seq, st.Head), Actions: maintenance.Next(st.State, d.book.rules, st.At),
	}
	v.Working = func(id string) (maintenance.Working, bool) { return maintenance.Why(st.State, d.book.rules, st.At, id) }
	if len(d.pushChannels()) > 0 {
		v.NoPush = d.whyNoPush
	}
	for name := range d.outbox.Failing() {
		v.Failing = append(v.Failing, name)
	}
	slices.Sort(v.Failing)
	v.Recent, err = d.recent(st.Seq)
	return v, err
}

// recent gives the newest entries up to a number, newest first.
func (d desk) recent(seq uint64) (all []maintenance.Entry, err error) {
	from := max(seq, recentEntries) - recentEntries
	err = d.book.journal.Lines(from, func(n uint64, line []byte) error {
		e, err := maintenance.Decode(line)
		all = append(all, e)
		return err
	})
	slices.Reverse(all)
	return all, err
}

// Record tells one entry.
func (d desk) Record(ctx context.Context, e maintenance.Entry) (remarks []string, duplicate bool, err error) {
	receipt, err := d.book.Record(ctx, d.clock(), []maintenance.Entry{e})
	if err != nil {
		return nil, false, err
	}
	d.logEntries(ctx, receipt)
	last := receipt.Entries[len(receipt.Entries)-1] // before it, a stop that a signal showed
	return last.Remarks, last.Duplicate, nil
}
