package maintenance

import (
	"fmt"
	"math"
	"strings"
	"time"
)

const buyAhead = 14 * day // time to get oil in (common practice, no source)

// replacing is when and why a pump's oil is to be replaced; the zero value is never.
type replacing struct {
	wears      wears
	opens, due time.Time
	worn       bool      // a limit is reached
	coming     bool      // one is near, and its date can be foreseen
	low, high  time.Time // of that date
}

// judge holds the oil against every limit of its life. Worn oil is replaced at the drain
// while the pump stands, at the fill while it is open, and after the run while it runs.
func (q *asking) judge(c *pumpCase) replacing {
	r := replacing{wears: q.wears(c)}
	for _, w := range r.wears {
		if !w.isReached() {
			continue
		}
		if at := w.reachedAt(c); !r.worn || at.Before(r.opens) {
			r.worn, r.opens = true, at
		}
	}
	switch {
	case r.worn && c.Run != nil:
		r.opens = c.nextStop(q.now)
		r.due = r.opens.Add(day)
	case r.worn && c.Open:
		fillOpens, fillDue := c.fillWindow()
		r.opens, r.due = later(r.opens, fillOpens), fillDue
	case r.worn:
		r.due = c.dueBefore(r.opens, r.opens, day)
	default:
		q.foresee(c, &r)
	}
	return r
}

func (q *asking) foresee(c *pumpCase, r *replacing) {
	if c.Open {
		return // the next charge may be other oil
	}
	for _, w := range r.wears {
		if w.value < soon*w.limit {
			break
		}
		if at, ok := w.forecast(c, q.now); ok && (!r.coming || at.Before(r.opens)) {
			low, high := w.forecastBetween(c, at)
			r.coming, r.opens, r.due, r.low, r.high = true, at, at.Add(day), later(low, q.now).Add(day), high.Add(day)
		}
	}
}

// replaceEntry is what a replacement rests on: the last full one, else the first oil.
func (q *asking) replaceEntry(c *pumpCase) string {
	if full := c.FullNow(q.r); full != nil {
		return full.Entry
	}
	return c.FirstOil
}

func (q *asking) replace(c *pumpCase) {
	r := c.replacing
	if !r.worn && !r.coming {
		q.not(DoReplace, c.Name, "%s", r.wears)
		return
	}
	if q.isDry(c) {
		q.not(DoReplace, c.Name, "its sump holds %s, no more than its heel: fill it first", grams(c.Sump.Total()))
		return
	}
	a := q.ask(DoReplace, c.Name, q.replaceEntry(c), r.opens, r.due)
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	if r.coming && !r.worn {
		a.dueBetween(r.due, r.low, r.high)
	}
	for _, w := range r.wears {
		a.because(w.key, w.value, w.limit, specOf(w.key).Unit, w.source)
	}
	a.caution(cautionUsedOil, cautionUnplug)
	if c.Open {
		a.Record = Entry{Act: &FillAct{Pump: c.Name}}
		a.caution(cautionRightOil)
		a.place = func(a *asked) { q.placeFill(a, c, true); q.fullEnough(a, c) }
		return
	}
	m := q.drainMass(c)
	a.Record = Entry{Act: &DrainAct{Pump: c.Name, Amount: Amount{Grams: wholeGrams(m)}}}
	a.caution(cautionHotOil, "drain it into the waste, and fill with new oil: two steps, of which this is the first")
	a.place = func(a *asked) { q.placeDrain(a, c, m) }
}

// fullEnough says when one fill will not make it a full replacement.
func (q *asking) fullEnough(a *asked, c *pumpCase) {
	m := MassOf(or(a.Record.Act.(*FillAct).Grams, 0))
	if m == 0 {
		return
	}
	share := m.Grams() / (m + c.Sump.OilMass()).Grams()
	a.becauseOf("full_fraction", share, &c.own, q)
	if share < *c.l.FullFraction {
		a.caution("the heel is too large for one fill to replace the oil fully: run it briefly, drain, and fill once more")
	}
}

// String is put together only when somebody reads it.
func (all wears) String() string {
	if len(all) == 0 {
		return "nothing is known of its oil yet"
	}
	says := "no limit is reached:"
	for i, w := range all {
		if i > 0 {
			says += ";"
		}
		says += strings.TrimSuffix(fmt.Sprintf(" %s, %.4g of %v %s", specOf(w.key).Meaning, w.value, w.limit, specOf(w.key).Unit), " 1")
		if w.key == "replace_uses" {
			says += " since the oil was last fully replaced"
		}
	}
	return says
}

// buyOil is asked when new oil will be wanted and there is not a charge of it. Pumps share
// the stock in the order of their names.
func (q *asking) buyOil() {
	stock := q.newOilMl()
	for _, c := range q.pumps {
		if c.Entry == "" {
			q.not(DoBuyOil, c.Name, "nobody has declared it")
			continue
		}
		want := max(0, c.ChargeMl-c.heelMl())
		opens, due, entry, ok := q.wantsNew(c)
		switch {
		case !ok:
			q.not(DoBuyOil, c.Name, "no new oil is wanted; %.0f ml is in stock", stock)
		case q.aside(idOf(DoBuyOil, c.Name, entry), DoBuyOil, c.Name).Skip:
			q.not(DoBuyOil, c.Name, "it was set aside") // and takes no oil from the other pumps
		case stock >= 0.99*want:
			q.not(DoBuyOil, c.Name, "%.0f ml of new oil is in stock, the next change takes %.0f ml", stock, want)
			stock -= want
		default:
			q.askOil(c, entry, opens, due, stock, want) // a whole charge: what is in stock stays for the others
		}
	}
}

// wantsNew says whether a pump will take new oil: its own is to be replaced, or no oil is
// ready to fill it.
func (q *asking) wantsNew(c *pumpCase) (opens, due time.Time, entry string, ok bool) {
	if r := c.replacing; r.worn || r.coming {
		return r.opens.Add(-buyAhead), r.due, q.replaceEntry(c), true
	}
	if !c.waits {
		return opens, due, "", false
	}
	_, due = c.fillWindow()
	if c.LastDrain != nil {
		return *c.LastDrain, due, c.LastDrainEntry, true
	}
	return c.Declared, due, c.Entry, true
}

func (q *asking) newOilMl() (ml float64) {
	for _, v := range q.vessels {
		if v.Stage == New && !v.IsWaste {
			ml += q.s.volumeMl(v.Content, standardC)
		}
	}
	return ml
}

func (q *asking) askOil(c *pumpCase, entry string, opens, due time.Time, stock, want float64) {
	a := q.ask(DoBuyOil, c.Name, entry, opens, due)
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	if r := c.replacing; r.coming && !r.worn {
		a.dueBetween(r.due, r.low, r.high)
	}
	a.because("new_oil_ml", stock, want, "ml", "the book: new oil in stock, against the next change")
	lot, can := q.unused("lot-", func(n string) bool { return q.s.Lots[n] != nil }), q.unused("can-", func(n string) bool { return q.s.Vessels[n] != nil })
	a.Record = Entry{Act: &LotAct{Lot: lot, Vessel: can, Amount: Amount{Ml: num(100 * math.Ceil(c.ChargeMl/100))}}}
	a.caution("buy the oil that the pump's manual names; keep it closed, dry and apart from food")
}

// unused is the first name not on the book and not offered to another pump.
func (q *asking) unused(stem string, known func(string) bool) string {
	for i := 1; ; i++ {
		name := fmt.Sprintf("%s%d", stem, i)
		if !known(name) && !q.held[name] {
			q.held[name] = true
			return name
		}
	}
}
