package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"sumpbook/config"
	"sumpbook/daemon"
	"sumpbook/maintenance"
)

func (p *program) importCommand() *cobra.Command {
	var dry bool
	c := &cobra.Command{
		Use: "import FILE|-", Short: "records entries from JSON Lines, all or none", Args: one("FILE"),
		Long: `  sumpbook import entries.jsonl
  sumpbook export --data old | sumpbook import - --data new

One JSON object a line. The file is judged as a whole: its entries take their places by
their times, and all are kept or none. An export into an empty book gives the same book.`,
	}
	c.Flags().BoolVar(&dry, "dry-run", false, "judge it, keep nothing")
	c.RunE = func(c *cobra.Command, args []string) error {
		entries, lines, err := p.readEntries(args[0])
		if err != nil {
			return fmt.Errorf("nothing imported: %w", err)
		}
		return p.atBook(c.Context(), func(b *session) error {
			receipt, err := recordAll(c.Context(), b, entries, dry)
			if err != nil {
				return fmt.Errorf("nothing imported: %w", offered(inFile(err, lines), "put these two in the place of that line; the time of the first is a guess: put the true one", func(e maintenance.Entry) string {
					return string(maintenance.Encode(e))
				}))
			}
			return p.imported(c.Context(), b, receipt, dry)
		})
	}
	return c
}

func recordAll(ctx context.Context, b *session, entries []maintenance.Entry, dry bool) (daemon.Receipt, error) {
	if len(entries) == 0 {
		return daemon.Receipt{}, nil
	}
	return b.Record(ctx, entries, dry)
}

func (p *program) imported(ctx context.Context, b *session, r daemon.Receipt, dry bool) error {
	if p.json {
		return p.printJSON(struct {
			Accepted   int `json:"accepted"`
			Duplicates int `json:"duplicates"`
		}{r.Accepted, r.Duplicates})
	}
	word := "imported"
	if dry {
		word = "would import"
	}
	fmt.Fprintf(p.out, "%s: %d accepted, %d there already\n", word, r.Accepted, r.Duplicates)
	for _, e := range r.Entries {
		for _, remark := range e.Remarks {
			p.talk("mind: %s (entry %s)", b.local(remark), e.ID)
		}
	}
	if !dry {
		p.whatNext(ctx, b)
	}
	return nil
}

// readEntries reads JSON Lines from a file, or stdin for "-", with the line of each entry.
func (p *program) readEntries(path string) (entries []maintenance.Entry, lines []int, err error) {
	in := p.in
	if path != "-" {
		file, err := os.Open(path)
		if err != nil {
			return nil, nil, hinted{err, "name a file of JSON Lines, or - for what comes in by a pipe"}
		}
		defer file.Close()
		in = file
	}
	return decodeLines(in)
}

func decodeLines(in io.Reader) (entries []maintenance.Entry, lines []int, err error) {
	scanner := bufio.NewScanner(in)
	scanner.Buffer(nil, maintenance.MaxLine+2)
	line := 0
	for scanner.Scan() {
		line++
		if len(bytes.TrimSpace(scanner.Bytes())) == 0 {
			continue
		}
		e, err := maintenance.Decode(scanner.Bytes())
		if err != nil {
			return nil, nil, atLine(err, line)
		}
		entries, lines = append(entries, e), append(lines, line)
	}
	if errors.Is(scanner.Err(), bufio.ErrTooLong) {
		return nil, nil, &maintenance.Rejection{Line: line + 1, Says: "the entry is too long", Hint: fmt.Sprintf("an entry has at most %d bytes, in one line", maintenance.MaxLine)}
	}
	return entries, lines, scanner.Err()
}

func atLine(err error, line int) error {
	if r := (*maintenance.Rejection)(nil); errors.As(err, &r) {
		r.Line = line
	}
	return err
}

// inFile turns the number of an entry in a request into the line it stood on.
func inFile(err error, lines []int) error {
	r := (*maintenance.Rejection)(nil)
	if errors.As(err, &r) && len(lines) > 0 {
		r.Line = lines[min(max(r.Line, 1), len(lines))-1]
	}
	return err
}

func (p *program) exportCommand() *cobra.Command {
	return &cobra.Command{
		Use: "export", Short: "the journal as JSON Lines", Args: noWords, Example: "  sumpbook export > book.jsonl",
		RunE: func(c *cobra.Command, _ []string) error {
			return p.atBook(c.Context(), func(b *session) error {
				out := bufio.NewWriter(p.out)
				err := b.Export(c.Context(), out)
				return errors.Join(err, out.Flush())
			})
		},
	}
}

func (p *program) doctorCommand() *cobra.Command {
	return &cobra.Command{
		Use: "doctor", Short: "clock, disk, book, sources, channels, backups: well, or what to do", Args: noWords,
		Long: "  sumpbook doctor\n\nExits 1 if anything is bad.",
		RunE: func(c *cobra.Command, _ []string) error {
			return p.atBook(c.Context(), func(b *session) error {
				findings, err := b.Doctor(c.Context())
				if err != nil {
					return err
				}
				if !b.Daemon() {
					findings = append(findings, daemon.Finding{What: "daemon", State: "warn", Says: "none runs: nobody is reminded", Do: "sumpbook serve"})
				}
				return p.findings(findings)
			})
		},
	}
}

func (p *program) findings(all []daemon.Finding) error {
	verdict := error(nil)
	s := newSheet()
	for _, f := range all {
		s.row(f.State, f.What, f.Says)
		if f.Do != "" {
			s.row("", "", "do: "+f.Do)
		}
		if f.State == "bad" {
			verdict = exitCode(refused)
		}
	}
	print := func() error { return s.print(p.out) }
	if p.json {
		print = func() error { return p.printJSON(all) }
	}
	if err := print(); err != nil {
		return err
	}
	return verdict
}

func (p *program) verifyCommand() *cobra.Command {
	return &cobra.Command{
		Use: "verify", Short: "hash chain, conservation, indexes; names the first bad entry", Args: noWords, Example: "  sumpbook verify",
		RunE: func(c *cobra.Command, _ []string) error {
			return p.atBook(c.Context(), func(b *session) error {
				v, err := b.Verify(c.Context())
				if err != nil {
					return err
				}
				return p.verified(v)
			})
		},
	}
}

func (p *program) verified(v daemon.VerifyView) error {
	if p.json {
		if err := p.printJSON(v); err != nil || v.OK {
			return err
		}
		return exitCode(refused)
	}
	if !v.OK {
		return hinted{fmt.Errorf("the book does not hold: %s", v.Bad), "restore a backup into an empty folder: sumpbook restore FILE --data DIR"}
	}
	_, err := fmt.Fprintf(p.out, "whole: %d entries, %d of them voids, %d notices, head %s\n", v.Entries, v.Voids, v.Notices, v.Head)
	return err
}

func (p *program) backupCommand() *cobra.Command {
	return &cobra.Command{
		Use: "backup FILE", Short: "a consistent copy of the book, while it is in use", Args: one("FILE"),
		Long: "  sumpbook backup /mnt/stick/book-2026-11-24.db\n\nThe file must not exist yet. Check it by restoring it into an empty folder.",
		RunE: func(c *cobra.Command, args []string) error {
			return p.atBook(c.Context(), func(b *session) error {
				v, err := b.Backup(c.Context(), args[0])
				switch {
				case err != nil:
					return fmt.Errorf("no backup made: %w", err)
				case p.json:
					return p.printJSON(v)
				}
				_, err = fmt.Fprintf(p.out, "backup: %d entries in %s, head %s\n", v.Entries, inline(v.Path), v.Head)
				return err
			})
		},
	}
}

func (p *program) restoreCommand() *cobra.Command {
	return &cobra.Command{
		Use: "restore FILE", Short: "verifies a backup and puts it into a folder without a book", Args: one("FILE"),
		Long: "  sumpbook restore /mnt/stick/book-2026-11-24.db --data DIR\n\nA folder that holds entries already is left as it is. No daemon may run on it.",
		RunE: func(c *cobra.Command, args []string) error {
			v, err := daemon.Restore(c.Context(), args[0], config.DataDir(p.data, os.Getenv))
			switch {
			case err != nil:
				return hinted{fmt.Errorf("nothing restored: %w", err), "name a backup, and a data folder without entries: sumpbook restore FILE --data DIR"}
			case p.json:
				return p.printJSON(v)
			}
			_, err = fmt.Fprintf(p.out, "restored: %d entries, head %s\n", v.Entries, v.Head)
			return err
		},
	}
}
