package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/oklog/ulid/v2"
	"github.com/spf13/cobra"

	"sumpbook/daemon"
	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
	"sumpbook/notify"
)

// recording are the flags of every command that records.
type recording struct{ dry bool }

func (r *recording) flags(p *program, c *cobra.Command) {
	c.Flags().BoolVar(&r.dry, "dry-run", false, "judge it, keep nothing")
	c.Flags().StringVar(&p.at, "at", "", "the same as at=TIME")
}

// withAt puts the flag --at among the words.
func (p *program) withAt(words []string) []string {
	if p.at == "" {
		return words
	}
	return append(words[:len(words):len(words)], "at="+p.at)
}

func (p *program) actCommand(s shape) *cobra.Command {
	var r recording
	c := &cobra.Command{
		Use:   s.usage(),
		Short: s.short,
		Long:  kindHelp(s.kind, s.examples),
	}
	r.flags(p, c)
	c.ValidArgsFunction = p.completeNames(s)
	c.RunE = func(c *cobra.Command, words []string) error {
		return p.atBook(c.Context(), func(b *session) error {
			keyed, err := s.keyed(words, b.isPump(c.Context()))
			if err != nil {
				return err
			}
			return p.recordWords(c.Context(), b, s.kind, keyed, r.dry)
		})
	}
	return c
}

func (p *program) addCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "add KIND key=value …",
		Short: "any entry, key by key",
		Long: `  sumpbook add drain pump=north to=jar-3 grams=640
  sumpbook add stop pump=north hot_c=154F at="20m ago"
  sumpbook add pump pump=north charge=700ml limits.air_h=3

` + wordsHelp,
		Args: cobra.ArbitraryArgs,
	}
	c.RunE = func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return usage("add: which kind?", "there are "+strings.Join(maintenance.Kinds(), ", "))
		}
		return fmt.Errorf("not recorded: %w", unknownKind(args[0]))
	}
	for _, kind := range maintenance.Kinds() {
		c.AddCommand(p.addKind(kind))
	}
	return c
}

func (p *program) addKind(kind string) *cobra.Command {
	var r recording
	c := &cobra.Command{Use: kind + " key=value …", Short: kindShort(kind), Long: kindHelp(kind, nil)}
	r.flags(p, c)
	c.ValidArgsFunction = completeKeys(kind)
	c.RunE = func(c *cobra.Command, words []string) error {
		return p.atBook(c.Context(), func(b *session) error {
			return p.recordWords(c.Context(), b, kind, words, r.dry)
		})
	}
	return c
}

// recordWords makes the entry and tells it.
func (p *program) recordWords(ctx context.Context, b *session, kind string, words []string, dry bool) error {
	e, err := wording{b.now, b.zone}.entry(kind, p.withAt(words))
	if err != nil {
		return fmt.Errorf("%s not recorded: %w", kind, err)
	}
	if e.ID == "" {
		e.ID = ulid.MustNew(ulid.Timestamp(p.now), ulid.DefaultEntropy()).String()
	}
	receipt, err := b.Record(ctx, []maintenance.Entry{e}, dry)
	if err != nil {
		return fmt.Errorf("%s not recorded: %w", kind, offered(err, "record these two in this order; the time of the first is a guess: put the true one", b.command))
	}
	return p.receipt(ctx, b, e, receipt, dry)
}

// offered adds to a rejection what would be right, if the book offers it: the missing entry
// and the refused one again, each as a line. hint says what to do with them; the book's own
// is for a program.
func offered(err error, hint string, line func(maintenance.Entry) string) error {
	var r *maintenance.Rejection
	if !errors.As(err, &r) || len(r.Offer) == 0 {
		return err
	}
	var lines []string
	for _, e := range r.Offer {
		lines = append(lines, line(e))
	}
	return &offer{hinted{err, hint}, lines}
}

// An offer is a rejection with the lines, in order, that would be right.
type offer struct {
	hinted
	lines []string
}

func (o *offer) Unwrap() error { return o.hinted }

// command is the command line of an entry, with its time unless that is told and now.
func (r reader) command(e maintenance.Entry) string {
	command := notify.Command(e)
	switch {
	case e.At.IsZero():
		return command
	case e.ID == "": // the book's guess: to be put right, and no finer than anybody knows
		return command + " at=" + r.atWord(e.At.Truncate(time.Second))
	case e.At.Equal(r.now):
		return command
	}
	return command + " at=" + r.atWord(e.At)
}

// atWord is a time as at= takes it, on the clock of the person's zone where that tells it
// exactly.
func (r reader) atWord(t time.Time) string {
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02 15:04:05"} {
		text := t.In(r.zone).Format(layout)
		if again, err := units.ParseTime(text, r.now, r.zone); err == nil && again.Equal(t) {
			return "'" + text + "'"
		}
	}
	return t.Format(time.RFC3339Nano)
}

// receipt says what was kept and what comes next.
func (p *program) receipt(ctx context.Context, b *session, e maintenance.Entry, receipt daemon.Receipt, dry bool) error {
	if p.json {
		return p.printJSON(receipt)
	}
	for _, one := range receipt.Entries {
		if one.ID != e.ID { // the book added a stop that a signal had shown
			p.talk("recorded too: %s, %s", one.ID, b.when(one.At))
			continue
		}
		word := "recorded"
		switch {
		case dry:
			word = "would record"
		case one.Duplicate:
			word = "already on the book"
		}
		fmt.Fprintf(p.out, "%s: %s; %s; id %s\n", word, inline(b.echo(e)), b.when(one.At), inline(one.ID))
		for _, remark := range one.Remarks {
			p.talk("mind: %s", b.local(remark))
		}
	}
	if !dry {
		p.whatNext(ctx, b)
	}
	return nil
}

// whatNext tells the most urgent action and whether anybody will be reminded of it. The
// entry is on the book: not knowing what comes next does not undo that.
func (p *program) whatNext(ctx context.Context, b *session) {
	if p.quiet {
		return
	}
	view, err := b.Actions(ctx, daemon.Moment{})
	switch {
	case err != nil:
		p.talk("next: not known: %v", err)
	case len(view.Actions) > 0:
		p.talk("next: %s", b.headline(view.Actions[0]))
	}
	if !b.Daemon() {
		p.talk("no daemon runs: reminders wait until: sumpbook serve")
	}
}

// isPump asks the book whether a name is that of a pump. A name of both is not decided here.
func (b *session) isPump(ctx context.Context) func(string) (pump, known bool, err error) {
	return func(name string) (bool, bool, error) {
		v, err := b.State(ctx, daemon.Moment{})
		if err != nil {
			return false, false, err
		}
		var pump, vessel bool
		for _, one := range v.Pumps {
			pump = pump || one.Pump == name
		}
		for _, one := range v.Vessels {
			vessel = vessel || one.Vessel == name
		}
		if pump && vessel {
			return false, false, usage(name+" is a pump and a vessel", "write pump="+name+" or vessel="+name)
		}
		return pump, pump || vessel, nil
	}
}
