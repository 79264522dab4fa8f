package main

import (
	"context"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"sumpbook/daemon"
	"sumpbook/maintenance"
)

// completeNames offers the pumps and vessels on the book where a name is due, then keys. It
// is silent when the book cannot be asked.
func (p *program) completeNames(s shape) cobra.CompletionFunc {
	keys := completeKeys(s.kind)
	return func(c *cobra.Command, words []string, begun string) ([]cobra.Completion, cobra.ShellCompDirective) {
		loose := slices.DeleteFunc(slices.Clone(words), keyForm.MatchString)
		if len(loose) >= len(s.names) {
			return keys(c, words, begun)
		}
		var names []string
		p.quiet = true // nothing may stand between the person and the names
		_ = p.atBook(c.Context(), func(b *session) error {
			var err error
			names, err = b.names(c.Context(), s.names[len(loose)])
			return err
		})
		return startingWith(names, begun), cobra.ShellCompDirectiveNoFileComp
	}
}

// names are those on the book that can stand for a field.
func (b *session) names(ctx context.Context, field string) ([]string, error) {
	if field == "action" {
		view, err := b.Actions(ctx, daemon.Moment{})
		return idsOf(view.Actions), err
	}
	v, err := b.State(ctx, daemon.Moment{})
	var names []string
	for _, one := range v.Pumps {
		if field == "pump" || field == place {
			names = append(names, one.Pump)
		}
	}
	for _, one := range v.Vessels {
		if slices.Contains([]string{"from", "to", "vessel", place}, field) {
			names = append(names, one.Vessel)
		}
	}
	return names, err
}

func idsOf(actions []maintenance.Action) []string {
	ids := make([]string, len(actions))
	for i, a := range actions {
		ids[i] = a.ID
	}
	return ids
}

func completeKeys(kind string) cobra.CompletionFunc {
	return func(_ *cobra.Command, _ []string, begun string) ([]cobra.Completion, cobra.ShellCompDirective) {
		var keys []string
		for _, name := range slotsOf(kind).names() {
			keys = append(keys, name+"=")
		}
		return startingWith(keys, begun), cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveNoSpace
	}
}

func startingWith(all []string, begun string) []string {
	return slices.DeleteFunc(all, func(s string) bool { return !strings.HasPrefix(s, begun) })
}
