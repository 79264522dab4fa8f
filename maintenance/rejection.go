package maintenance

import "fmt"

// A Rejection is a person's mistake: what cannot be so, and what would be right.
// Everything else that goes wrong is ours and is an ordinary error.
type Rejection struct {
	Line   int     // 1-based line of the request the entry stood in; 0 if there was only one
	Entry  string  // id of the entry refused, if it had one
	Field  string  // the field that is wrong; empty if it is the whole entry
	Says   string  // what is wrong, one lower-case sentence
	Hint   string  // what would be right
	Offer  []Entry // entries that would make the refused one possible, in order
	Blocks string  // id of a later entry that the refused one would make impossible
}

// Error gives the sentence with its line and field; the hint is shown apart.
func (r *Rejection) Error() string {
	where := ""
	if r.Line > 0 {
		where = fmt.Sprintf("line %d: ", r.Line)
	}
	if r.Field != "" {
		where += r.Field + ": "
	}
	return where + r.Says
}

func reject(field, hint, format string, args ...any) *Rejection {
	return &Rejection{Field: field, Hint: hint, Says: fmt.Sprintf(format, args...)}
}
