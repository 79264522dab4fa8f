package maintenance

// stopPump is asked of a pump that runs without oil on the book.
func (q *asking) stopPump(c *pumpCase) {
	switch {
	case c.Run == nil:
		q.not(DoStopPump, c.Name, "it is not running")
		return
	case c.Entry != "" && !c.Open && c.Sump.OilMass() > 0:
		q.not(DoStopPump, c.Name, "it runs on %s of oil", grams(c.Sump.OilMass()))
		return
	}
	a := q.ask(DoStopPump, c.Name, c.Run.Cycle, c.Run.Since, c.Run.Since)
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	a.Record = Entry{Act: &StopAct{Pump: c.Name}}
	a.because("sump_oil_g", c.Sump.OilMass().Grams(), q.chargeMass(c).Grams(), "g", "the book: what the sump holds, against its charge")
	if c.Entry == "" {
		a.caution("nobody has declared this pump: if it does hold oil, declare it and weigh its sump, back-dated to before the start")
	}
	a.caution(cautionNoOil, cautionPower)
}

func (q *asking) chargeMass(c *pumpCase) Mass { return q.s.massOfVolume(c.ChargeMl, c.Sump, standardC) }
