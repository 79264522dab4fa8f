package main

import (
	"context"
	"io"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"
)

// Exit codes.
const (
	done    = 0
	refused = 1
	misused = 2
)

// A program is one run of the command line: its streams, its flags and its one reading of
// the clock.
type program struct {
	in       io.Reader
	out, err io.Writer
	now      time.Time

	data, config string
	json, quiet  bool
	at, knownBy  string
	person       reader // once the configuration is read
}

// run is what main, scripts and tests enter by.
func run(ctx context.Context, args []string, in io.Reader, out, errw io.Writer) int {
	p := &program{in: in, out: out, err: errw, now: time.Now().Truncate(time.Millisecond)}
	root := p.root()
	root.SetArgs(guardNumbers(args))
	return p.exit(root.ExecuteContext(ctx))
}

func (p *program) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "sumpbook",
		Short:         "the book of vacuum-pump oil",
		Long:          rootHelp,
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.ArbitraryArgs,
	}
	root.RunE = func(c *cobra.Command, args []string) error {
		if len(args) == 0 {
			return c.Help()
		}
		return unknownCommand(root, args[0])
	}
	root.SetIn(p.in)
	root.SetOut(p.out)
	root.SetErr(p.err)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return usage(err.Error(), "see: "+c.CommandPath()+" --help")
	})
	flags := root.PersistentFlags()
	flags.StringVar(&p.data, "data", "", "`folder` of the book (SUMPBOOK_DATA)")
	flags.StringVar(&p.config, "config", "", "configuration `file` (SUMPBOOK_CONFIG)")
	flags.BoolVar(&p.json, "json", false, "answer in JSON")
	flags.BoolVarP(&p.quiet, "quiet", "q", false, "no talk on stderr but errors")
	cobra.EnableCommandSorting = false // ours is the order of the work
	root.AddGroup(
		&cobra.Group{ID: "read", Title: "Ask:"},
		&cobra.Group{ID: "act", Title: "Record what happened:"},
		&cobra.Group{ID: "book", Title: "The book and the daemon:"})
	p.addCommands(root)
	root.SetHelpCommand(helpCommand(root))
	root.SetHelpCommandGroupID("book")
	root.SetCompletionCommandGroupID("book")
	return root
}

const rootHelp = `  sumpbook next                     what to do now, until when, and how to record it
  sumpbook state                    what is in the pumps and in every jar
  sumpbook stop north hot=68C       the pump has stopped, its oil at 68 °C
  sumpbook drain north jar-3 640g   its oil is in jar-3
  sumpbook undo ID                  that was a slip

sumpbook keeps the book of vacuum-pump oil for people who freeze-dry food: what to do
next, which jar is ready, how wet and how old the oil is, when it was last fully replaced.
It gives estimates for upkeep. It is no safety device and no authority on food; the maker's
manual and local rules win.`

func (p *program) addCommands(root *cobra.Command) {
	add := func(group string, commands ...*cobra.Command) {
		for _, c := range commands {
			c.GroupID = group
			root.AddCommand(c)
		}
	}
	add("read", p.nextCommand(), p.stateCommand(), p.whyCommand(), p.whyNotCommand(), p.auditCommand(), p.learnCommand(),
		p.noticesCommand(), p.calcCommand())
	for _, s := range shapes {
		add("act", p.actCommand(s))
	}
	add("act", p.addCommand(), p.undoCommand())
	add("book", p.serveCommand(), p.demoCommand(), p.doctorCommand(), p.verifyCommand(), p.backupCommand(), p.restoreCommand(),
		p.importCommand(), p.exportCommand(), p.sourceCommand(), p.notifyCommand(), p.calendarCommand())
	root.AddCommand(kindsTopic())
}

// helpCommand is as unforgiving of unknown names as the commands are.
func helpCommand(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use: "help [COMMAND]", Short: "help about a command, or: help kinds",
		RunE: func(_ *cobra.Command, words []string) error {
			c, rest, err := root.Find(words)
			if err != nil || len(rest) > 0 || c == root && len(words) > 0 {
				return unknownCommand(root, strings.Join(words, " "))
			}
			return c.Help()
		},
	}
}

func unknownCommand(root *cobra.Command, word string) error {
	hint := "see: sumpbook --help"
	if near := nearest(word, commandNames(root)); len(near) > 0 {
		hint = "did you mean " + strings.Join(near, " or ") + "?"
	}
	return usage("there is no command "+word, hint)
}

var negative = regexp.MustCompile(`^-[.]?[0-9]`)

const minusSign = "\u2212"

// guardNumbers lets a word such as -40C pass as a word: to the flag parser a leading hyphen
// is a flag. The minus sign that stands in for it is one to package units as well; no flag
// of ours is a digit.
func guardNumbers(args []string) []string {
	out := make([]string, len(args))
	for i, arg := range args {
		if negative.MatchString(arg) {
			arg = minusSign + arg[1:]
		}
		out[i] = arg
	}
	return out
}

// plainMinus undoes guardNumbers in a word that is no number.
func plainMinus(word string) string {
	if rest, ok := strings.CutPrefix(word, minusSign); ok {
		return "-" + rest
	}
	return word
}
