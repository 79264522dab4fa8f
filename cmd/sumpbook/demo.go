package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"sumpbook/daemon"
)

func (p *program) demoCommand() *cobra.Command {
	var listen string
	c := &cobra.Command{
		Use: "demo", Short: "the daemon on a season of invented data, in a throw-away folder", Args: noWords,
		Long: `  sumpbook demo
  sumpbook demo --listen 127.0.0.1:8418

The data are invented: a small kitchen that dries broth, mushrooms and curd. The season ends
now, with a drain window open. Your own book is not touched; the folder goes when the demo
ends. From another terminal: sumpbook next --data FOLDER.`,
	}
	c.Flags().StringVar(&listen, "listen", "127.0.0.1:0", "`host:port` of the page")
	c.RunE = func(c *cobra.Command, _ []string) error { return p.demo(c.Context(), listen) }
	return c
}

func (p *program) demo(ctx context.Context, listen string) (err error) {
	folder, err := os.MkdirTemp("", "sumpbook-demo-")
	if err != nil {
		return fmt.Errorf("make a throw-away folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	p.data = folder
	s, err := p.served(listen)
	if err != nil {
		return err
	}
	s.Demo = true
	// Nobody is to be reminded of an invented pump, nor a real one's signals put on its book.
	s.Config.Channels, s.Config.Sources = nil, nil
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	failed := make(chan error, 1)
	err = daemon.Serve(ctx, s, func(addr string) {
		if err := p.tellSeason(ctx, s); err != nil {
			failed <- err
			stop(err)
			return
		}
		fmt.Fprintf(p.out, "http://%s\n", addr)
		p.talk("sumpbook listens on http://%s, invented data, in %s until this ends (Ctrl-C)", addr, folder)
	})
	select {
	case told := <-failed:
		return errors.Join(told, err)
	default:
		return err
	}
}

// tellSeason records the invented season as a person's entries are recorded.
func (p *program) tellSeason(ctx context.Context, s daemon.Settings) (err error) {
	client, err := daemon.Connect(ctx, s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, client.Close()) }()
	if _, err := client.Record(ctx, demoEntries(p.now), false); err != nil {
		return fmt.Errorf("tell the season: %w", err)
	}
	return nil
}
