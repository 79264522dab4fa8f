package daemon

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// explain registers the questions for reasons.
func (k *Keeper) explain(mux *http.ServeMux) {
	mux.HandleFunc("GET /api/v1/why", answer(func(r *http.Request) (any, error) {
		return asked(r, func(m Moment) (maintenance.Working, error) { return k.Why(r.URL.Query().Get("action"), m) })
	}))
	mux.HandleFunc("GET /api/v1/why-not/{kind}", answer(func(r *http.Request) (any, error) {
		return asked(r, func(m Moment) (WhyNotView, error) { return k.WhyNot(r.PathValue("kind"), m) })
	}))
}

// Why gives the working behind one action.
func (k *Keeper) Why(action string, m Moment) (maintenance.Working, error) {
	st, err := k.book.Stand(m, k.clock())
	if err != nil {
		return maintenance.Working{}, err
	}
	w, found := maintenance.Why(st.State, k.book.rules, st.At, action)
	if !found {
		return w, problem(http.StatusNotFound, fmt.Sprintf("nothing named %q is to be done", action), "next lists the actions; why-not tells why something is not asked for")
	}
	return w, nil
}

// A WhyNotView says why nothing of a kind is asked for, and what became of its reminders.
type WhyNotView struct {
	Kind      string   `json:"kind"`
	Says      []string `json:"says"`
	Reminders []string `json:"reminders"`
}

// WhyNot explains a silence.
func (k *Keeper) WhyNot(kind string, m Moment) (WhyNotView, error) {
	do := maintenance.Do(kind)
	if !slices.Contains(maintenance.Dos(), do) {
		return WhyNotView{}, problem(http.StatusNotFound, fmt.Sprintf("%q is no kind of action", kind), "the kinds are "+kindsOfAction())
	}
	st, err := k.book.Stand(m, k.clock())
	if err != nil {
		return WhyNotView{}, err
	}
	notices, err := k.book.journal.LastNotices(noticesLooked)
	if err != nil {
		return WhyNotView{}, err
	}
	v := WhyNotView{Kind: kind, Says: maintenance.WhyNot(st.State, k.book.rules, st.At, do)}
	facts := notify.Facts{Actions: maintenance.Next(st.State, k.book.rules, st.At), Newest: st.State.At}
	v.Reminders = k.voice.WhyNotTold(do, facts, notices, k.outbox.policy, st.At)
	return v, nil
}

// noticesLooked is how many of the newest notices an explanation looks at.
const noticesLooked = 1000

// Why asks for the working behind an action.
func (c *Client) Why(ctx context.Context, action string, m Moment) (maintenance.Working, error) {
	q := m.query()
	q.Set("action", action)
	return get[maintenance.Working](ctx, c, "/api/v1/why", q)
}

// WhyNot asks why nothing of a kind is asked for, or why its reminder did not arrive.
func (c *Client) WhyNot(ctx context.Context, kind string, m Moment) (WhyNotView, error) {
	return get[WhyNotView](ctx, c, "/api/v1/why-not/"+url.PathEscape(kind), m.query())
}

// kindsOfAction lists them for a person.
func kindsOfAction() string {
	var words []string
	for _, do := range maintenance.Dos() {
		words = append(words, string(do))
	}
	return strings.Join(words, ", ")
}
