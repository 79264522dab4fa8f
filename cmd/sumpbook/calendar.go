package main

import (
	"github.com/spf13/cobra"

	"sumpbook/daemon"
)

func (p *program) calendarCommand() *cobra.Command {
	var revoke, export, todo, alarms bool
	c := &cobra.Command{
		Use: "calendar", Short: "the address of the calendar feed, and what can fetch it", Args: noWords,
		Long: `  sumpbook calendar                   the address to subscribe to
  sumpbook calendar --revoke          a new one; the old one is dead from now on
  sumpbook calendar --export > oil.ics

Whoever has the address can read the calendar, and nothing else. ?as=todo behind it gives
tasks in the place of events, ?alarms=1 an alarm for each.`,
	}
	flags := c.Flags()
	flags.BoolVar(&revoke, "revoke", false, "make a new address, and end the old one")
	flags.BoolVar(&export, "export", false, "write the calendar itself, as a file")
	flags.BoolVar(&todo, "todo", false, "with --export: tasks in the place of events")
	flags.BoolVar(&alarms, "alarms", false, "with --export: an alarm for each")
	c.RunE = func(c *cobra.Command, _ []string) error {
		switch {
		case export && revoke:
			return usage("--export and --revoke do not go together", "revoke first, then export")
		case !export && (todo || alarms):
			return usage("--todo and --alarms go with --export", "to an address, add ?as=todo or ?alarms=1")
		}
		return p.atBook(c.Context(), func(b *session) error {
			if !export {
				v, err := b.Calendar(c.Context(), revoke)
				if err != nil {
					return err
				}
				return p.calendar(b, v)
			}
			return b.ExportCalendar(c.Context(), todo, alarms, p.out)
		})
	}
	return c
}

func (p *program) calendar(b *session, v daemon.CalendarView) error {
	if p.json {
		return p.printJSON(v)
	}
	s := newSheet()
	s.row("address", v.Address)
	s.row("reach", v.Reach)
	for _, client := range v.Clients {
		word := "not"
		if client.Works {
			word = "works"
		}
		s.row(word, client.Kind+": "+client.Why)
	}
	s.row("mind", "programs look when they like, hourly to daily, and often leave out alarms: reminders go by the channels")
	s.row("mind", "whoever has the address can read the calendar; --revoke ends it")
	if !b.Daemon() {
		s.row("mind", "no daemon runs, so nobody answers at this address: sumpbook serve")
	}
	return s.print(p.out)
}
