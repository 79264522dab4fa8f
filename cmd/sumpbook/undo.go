package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"sumpbook/maintenance"
)

func (p *program) undoCommand() *cobra.Command {
	var yes, dry bool
	c := &cobra.Command{
		Use: "undo ID", Short: "withdraws an entry and what rests on it, after showing both", Args: one("ID"),
		Long: `  sumpbook undo 01KAV3Q0SD2F0E2M9H3X7T5C4N
  sumpbook undo 01KAV3Q0SD2F0E2M9H3X7T5C4N --yes

Nothing is deleted: the entries stay on the book, withdrawn. What is to hold again is
recorded again.`,
	}
	c.Flags().BoolVarP(&yes, "yes", "y", false, "do not ask")
	c.Flags().BoolVar(&dry, "dry-run", false, "show what would go, keep everything")
	c.RunE = func(c *cobra.Command, args []string) error {
		return p.atBook(c.Context(), func(b *session) error {
			plan, err := b.Undo(c.Context(), args[0], "", true)
			if err != nil {
				return fmt.Errorf("nothing undone: %w", err)
			}
			p.showVoids(b, plan.Voids)
			if dry {
				return p.undone(plan.Voids, "would withdraw")
			}
			if !yes {
				if err := p.confirm("Withdraw"); err != nil {
					return err
				}
			}
			if plan, err = b.Undo(c.Context(), args[0], "", false); err != nil {
				return fmt.Errorf("nothing undone: %w", err)
			}
			if err := p.undone(plan.Voids, "withdrawn"); err != nil {
				return err
			}
			p.whatNext(c.Context(), b)
			return nil
		})
	}
	return c
}

// showVoids tells, before anybody is asked, what goes.
func (p *program) showVoids(b *session, voids []maintenance.Entry) {
	for _, e := range voids {
		p.talk("goes: %s; %s; id %s", b.echo(e), b.when(e.At), e.ID)
	}
}

func (p *program) undone(voids []maintenance.Entry, word string) error {
	ids := make([]string, len(voids))
	for i, e := range voids {
		ids[i] = e.ID
	}
	if p.json {
		return p.printJSON(map[string][]string{"voids": ids})
	}
	_, err := fmt.Fprintf(p.out, "%s: %s\n", word, inline(strings.Join(ids, ", ")))
	return err
}

// confirm asks on a terminal; where nobody can answer it refuses.
func (p *program) confirm(what string) error {
	file, ok := p.in.(*os.File)
	if !ok || !term.IsTerminal(int(file.Fd())) {
		return usage("nobody is there to be asked", "say it with --yes")
	}
	fmt.Fprintf(p.err, "%s? [y/N] ", what)
	line, err := bufio.NewReader(file).ReadString('\n')
	if answer := strings.ToLower(strings.TrimSpace(line)); err != nil || answer != "y" && answer != "yes" {
		return errors.New("left as it was")
	}
	return nil
}
