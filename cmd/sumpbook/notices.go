package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"sumpbook/daemon"
	"sumpbook/notify"
)

func (p *program) noticesCommand() *cobra.Command {
	var limit int
	c := &cobra.Command{
		Use: "notices", Short: "every reminder: held, sent, delivered, or why not", Args: noWords,
		Example: "  sumpbook notices\n  sumpbook notices --limit 20 --json",
	}
	c.Flags().IntVar(&limit, "limit", 100, "the newest `N`")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if limit < 1 || limit > 10_000 {
			return usage(fmt.Sprintf("notices: --limit %d is out of range", limit), "give 1 to 10000")
		}
		return p.atBook(c.Context(), func(b *session) error {
			v, err := b.Notices(c.Context(), limit)
			switch {
			case err != nil:
				return err
			case p.json:
				return p.printJSON(v.Notices)
			}
			s := newSheet()
			b.notices(s, v)
			return s.print(p.out)
		})
	}
	return c
}

// notices tells each try once, by its outcome where that is known. The sentence begins with
// its time, which stands in a column here.
func (r reader) notices(s *sheet, v daemon.NoticesView) {
	type try struct {
		notify.Key
		attempt int
	}
	ended := map[try]bool{}
	for _, n := range v.Notices {
		if n.Outcome != notify.Attempted {
			ended[try{n.Key, n.Attempt}] = true
		}
	}
	voice := notify.Voice{Zone: r.zone}
	for i, n := range v.Notices {
		if n.Outcome != notify.Attempted || !ended[try{n.Key, n.Attempt}] {
			s.row(r.day(n.At), strings.TrimPrefix(v.Says[i], voice.When(n.At, r.now)+" "))
		}
	}
	if len(v.Notices) == 0 {
		s.line("no reminder yet")
	}
}

func (p *program) notifyCommand() *cobra.Command {
	c := &cobra.Command{Use: "notify", Short: "reminders"}
	c.RunE = subcommandWanted
	c.Args = cobra.ArbitraryArgs
	c.AddCommand(p.notifyTestCommand())
	return c
}

// subcommandWanted answers for a command that does nothing by itself.
func subcommandWanted(c *cobra.Command, args []string) error {
	names := commandNames(c)
	if len(args) == 0 {
		return usage(c.Name()+": what of it?", "there is "+c.CommandPath()+" "+names[0])
	}
	return usage(fmt.Sprintf("%s: there is no %q", c.Name(), args[0]), suggest(args[0], names))
}

func (p *program) notifyTestCommand() *cobra.Command {
	var to string
	c := &cobra.Command{
		Use: "test", Short: "a test reminder through every channel, with what the other end said", Args: noWords,
		Long: "  sumpbook notify test\n  sumpbook notify test --to phone\n\nMarked as a test, past quiet hours. Exits 1 if any channel fails.",
	}
	c.Flags().StringVar(&to, "to", "", "only this `channel`")
	c.RunE = func(c *cobra.Command, _ []string) error {
		return p.atBook(c.Context(), func(b *session) error {
			results, err := b.NotifyTest(c.Context(), to)
			if err != nil {
				return err
			}
			verdict := error(nil)
			s := newSheet()
			for _, r := range results {
				word := "ok"
				if !r.OK {
					word, verdict = "failed", exitCode(refused)
				}
				s.row(word, r.Channel, fmt.Sprintf("%d ms", r.Millis), r.Said)
			}
			if p.json {
				err = p.printJSON(results)
			} else {
				err = s.print(p.out)
			}
			if err != nil {
				return err
			}
			return verdict
		})
	}
	return c
}
