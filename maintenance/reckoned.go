package maintenance

// Reckoned is water in a parcel that came over in a pump and was never measured: as it was
// reckoned without the pump's own factor, and as it was booked with it. Weighed one day, it
// tells the factor.
type Reckoned struct {
	Pump   string  `json:"pump"`
	PlainG float64 `json:"plain"`
	BookG  float64 `json:"book"`
}

// Carried is reckoned water by pump.
type Carried []Reckoned

// with adds water, that of one pump together; the receiver is not changed.
func (c Carried) with(more ...Reckoned) Carried {
	out := append(Carried(nil), c...)
next:
	for _, m := range more {
		if m.PlainG <= 0 {
			continue
		}
		for i := range out {
			if out[i].Pump == m.Pump {
				out[i].PlainG += m.PlainG
				out[i].BookG += m.BookG
				continue next
			}
		}
		out = append(out, m)
	}
	return out
}

// without is all but that of one pump; the receiver is not changed.
func (c Carried) without(pump string) Carried {
	var out Carried
	for _, r := range c {
		if r.Pump != pump {
			out = append(out, r)
		}
	}
	return out
}

// times is a share of all of it; none is left of nothing.
func (c Carried) times(share float64) Carried {
	if share <= 0 || len(c) == 0 {
		return nil
	}
	if share == 1 {
		return c
	}
	out := make(Carried, len(c))
	for i, r := range c {
		out[i] = Reckoned{r.Pump, r.PlainG * share, r.BookG * share}
	}
	return out
}

// partOf is what part of the water, of all of it, takes along.
func (c Carried) partOf(part, all Mass) Carried {
	if all == 0 {
		return nil
	}
	return c.times(float64(part) / float64(all))
}

// sums are all of it, plain and as booked, g.
func (c Carried) sums() (plainG, bookG float64) {
	for _, r := range c {
		plainG += r.PlainG
		bookG += r.BookG
	}
	return plainG, bookG
}
