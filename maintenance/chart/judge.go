package chart

// A Reading is one blank-off pressure, in the order of happening.
type Reading struct {
	LnPa   float64 // ln of the pressure in Pa
	Charge int     // number of the oil charge it was read on: grows by one with every change of oil
	Fresh  bool    // the charge was a full replacement with new oil
}

// A Verdict is what the readings say.
type Verdict int8

// Verdicts.
const (
	TooFew Verdict = iota // cannot tell yet: Finding.Want says what is missing
	Steady                // no rise, or none that stayed
	Oil                   // it rose, and a change of oil brought it back
	Pump                  // it rose, and new oil does not bring it back: vanes, seals, a leak
)

func (v Verdict) String() string {
	return [...]string{"cannot tell yet", "steady", "oil", "pump"}[v]
}

// A Want is what the next verdict waits for.
type Want int8

// Wants.
const (
	Nothing  Want = iota
	Readings      // read again
	Change        // change the oil, then read
	NewOil        // change to new oil, then read twice
)

func (w Want) String() string {
	return [...]string{"nothing", "read again", "change the oil and read again", "change to new oil and read twice"}[w]
}

// A Finding is a verdict and what a person needs to check it by hand. Levels are ln Pa.
type Finding struct {
	Verdict Verdict
	Want    Want

	From, N       int     // the start: index of its first reading, and its number of readings; N 0: none yet
	Centre, Scale float64 // of the start: the median, and the robust standard deviation

	EWMA, EWMALimit   float64 // now, and the upper limit
	CUSUM, CUSUMLimit float64 // the high sum now, and its limit, in scales

	Signal int     // index of the reading at which the charts signalled the newest rise; -1: none
	Level  float64 // of that rise on the charge it was seen on: median of its newest nine readings
	After  float64 // the same of the first two readings on each charge since; on new oil alone if there was any
	AfterN int     // how many those were; 0: After is unknown
	New    bool    // After is of new oil
	Factor float64 // by how many times the pressure is up now: the newest of EWMA, Level and After over Centre
}

// Judge says whether the readings rose, and whether the oil or the pump is why. They stand
// in the order of happening, are of one pump, and are finite; of others the finding means
// nothing, but there is one. Nothing is allocated.
func Judge(readings []Reading) Finding {
	j := judge{readings: readings}
	for i := range readings {
		switch n := i + 1 - j.start.from; {
		case n == shortStart:
			j.begin(j.start.from, n)
		case n > shortStart:
			if j.take(i); j.sank() {
				j = judge{readings: readings, start: start{from: i + 1}}
			} else if n == longStart && j.rise.kind == none {
				j.begin(j.start.from, n)
			}
		}
	}
	return j.finding()
}
