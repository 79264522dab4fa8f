package main

import (
	"log/slog"

	"github.com/spf13/cobra"

	"sumpbook/daemon"
)

func (p *program) serveCommand() *cobra.Command {
	var listen string
	c := &cobra.Command{
		Use: "serve", Short: "the daemon: keeps the book, listens, reminds", Args: noWords,
		Long: "  sumpbook serve\n  sumpbook serve --listen 127.0.0.1:0 --data DIR\n\nIt ends on SIGTERM or Ctrl-C.",
	}
	c.Flags().StringVar(&listen, "listen", "", "`host:port` of the page and the API")
	c.RunE = func(c *cobra.Command, _ []string) error {
		s, err := p.served(listen)
		if err != nil {
			return err
		}
		return daemon.Serve(c.Context(), s, func(addr string) {
			p.talk("sumpbook listens on http://%s, the book is in %s", addr, s.Data)
		})
	}
	return c
}

// served are the settings of a daemon that logs to stderr.
func (p *program) served(listen string) (daemon.Settings, error) {
	flags := map[string]string{}
	if listen != "" {
		flags["listen"] = listen
	}
	s, err := p.settings(flags)
	level := slog.LevelInfo
	if p.quiet {
		level = slog.LevelWarn
	}
	s.Log = slog.New(slog.NewTextHandler(p.err, &slog.HandlerOptions{Level: level}))
	return s, err
}
