package chart

import "math"

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

	From, N              int     // the start: index of its first reading, and its number of readings; N 0: not complete
	Centre, Scale, Doubt float64 // of it: median, robust standard deviation of a reading, standard error of the median

	EWMA, EWMALimit   float64 // now, and the upper limit
	CUSUM, CUSUMLimit float64 // the high sum now, and its limit, in scales

	Signal int     // index of the reading at which the charts signalled the newest rise; -1: none
	Level  float64 // of that rise on the charge it was seen on: median of its newest nine readings
	After  float64 // the same of the first two readings on each charge since; if there was new oil, on that alone
	AfterN int     // how many those were; 0: After is unknown
	New    bool    // After is of new oil
	Factor float64 // by how many times the pressure is up now: an open rise's After or Level, else EWMA, over Centre
}

// The numbers of the verdict, in scales unless they are counts.
const (
	shortStart = 8   // readings of a first start; nothing is said sooner (rule of this project, no source)
	longStart  = 16  // once there are so many and no rise among them, they are the start
	leastScale = 0.2 // ln: a reading repeats no better than to 20 % (common practice, no source)
	trim       = 3.0 // no reading counts for more on the charts (rule of this project, no source)
	lambda     = 0.3 // of the EWMA, and its limit (NIST/SEMATECH e-Handbook 6.3.2.4)
	wide       = 3.0
	slack      = 0.5 // of the CUSUM, and its limit (Montgomery, Introduction to SQC, ch. 9)
	sumLimit   = 5.0
	straying   = 1.5 // two readings must stand out so far before the charts signal (rule of this project, no source)
	leastRise  = 2.0 // a smaller rise is weighed as this one (rule of this project, no source)
	proof      = 5.0 // ln of the odds at which a rise stays, or is gone: 150 to 1 (rule of this project, no source)
	oneProof   = 3.0 // the most that one reading adds to it: none decides alone
	remembered = 8   // readings for which a verdict of oil stands (rule of this project, no source)
)

// Judge says whether the readings rose, and whether the oil or the pump is why. They stand
// in the order of happening, are of one pump, and are finite; of others the finding means
// nothing, but there is one. With 64 readings it takes some microseconds, and allocates
// nothing.
func Judge(readings []Reading) Finding {
	j := judge{readings: readings}
	for i := range readings {
		switch n := i + 1 - j.start.from; {
		case n == shortStart:
			j.begin(j.start.from, n)
		case n > shortStart:
			if j.take(i); j.sank() { // the start was not what the pump can do: another
				j = judge{readings: readings, start: start{from: i + 1}}
			} else if n == longStart && j.rise.kind == none {
				j.begin(j.start.from, n)
			}
		}
	}
	return j.finding()
}

// judge is the state of the charts after some readings.
type judge struct {
	readings []Reading
	start    start
	ewma     EWMA // of scales from the centre, as the sums
	n        int  // values in it
	sums     CUSUM
	above    strays
	rise     rise
}

// strays are the readings that stand out above since the high sum left 0.
type strays struct{ from, n int }

func (s *strays) count(i int, sum, z float64) {
	if sum == 0 {
		*s = strays{from: i + 1}
	} else if z > straying {
		s.n++
	}
}

func (j *judge) begin(from, n int) {
	j.start = startOf(j.readings, from, n)
	j.restart(from + n)
}

// restart empties the charts before reading i. What the centre is in doubt by does not
// count as straying.
func (j *judge) restart(i int) {
	j.ewma, j.n, j.sums = EWMA{Lambda: lambda}, 0, CUSUM{Slack: slack + j.start.doubt()}
	j.above = strays{from: i}
}

// take judges reading i.
func (j *judge) take(i int) {
	z := min(max(j.start.scales(j.readings[i].LnPa), -trim), trim)
	j.ewma, j.sums, j.n = j.ewma.Next(z), j.sums.Next(z), j.n+1
	j.above.count(i, j.sums.High, z)
	switch {
	case j.rise.isOpen():
		j.weigh(i)
	case j.above.n >= 2 && (j.ewma.Value > j.limit() || j.sums.High > sumLimit):
		j.rise = rise{kind: open, signal: i, charge: j.readings[i].Charge}
		for k := j.above.from; k <= i; k++ {
			j.rise.raise(j.start, j.readings[k].LnPa)
		}
	}
}

func (j *judge) limit() float64 { return j.ewma.Limit(max(1, j.n), wide, 1) + j.start.doubt() }

// sank says whether the readings fell, and stay low: trimmed as they are, it takes three.
func (j *judge) sank() bool { return !j.rise.isOpen() && j.sums.Low > sumLimit }

func (j *judge) finding() Finding {
	f := Finding{Want: Readings, From: j.start.from, CUSUMLimit: sumLimit, Signal: -1, Factor: 1}
	s, r := j.start, &j.rise
	if s.n == 0 {
		return f
	}
	f.N, f.Centre, f.Scale, f.Doubt = s.n, s.centre, s.scale, s.scale*s.doubt()
	f.EWMA, f.EWMALimit, f.CUSUM = s.centre+s.scale*j.ewma.Value, s.centre+s.scale*j.limit(), j.sums.High
	if r.kind != none {
		f.Signal, f.Level, f.AfterN, f.New = r.signal, r.level.median(), r.after.held(), r.hasNew
	}
	if f.AfterN > 0 {
		f.After = r.after.median()
	}
	f.Factor = math.Exp(f.newest(r.isOpen()) - s.centre)
	f.Verdict, f.Want = j.verdict()
	return f
}

func (f *Finding) newest(isOpen bool) float64 {
	switch {
	case !isOpen:
		return f.EWMA
	case f.AfterN > 0:
		return f.After
	}
	return f.Level
}

func (j *judge) verdict() (Verdict, Want) {
	last, r := len(j.readings)-1, &j.rise
	switch {
	case last < j.start.from+shortStart:
		return TooFew, Readings
	case r.kind == open:
		return TooFew, j.want(last)
	case r.kind == stays:
		return Pump, Nothing
	case r.kind == cured && last < r.closed+remembered:
		return Oil, Nothing
	}
	return Steady, Nothing
}

// want is what would tell why an open rise is there.
func (j *judge) want(last int) Want {
	now, r := j.readings[last], &j.rise
	switch {
	case now.Charge == r.charge:
		return Change
	case j.isFirst(last) && (now.Fresh || r.back > 0):
		return Readings
	}
	return NewOil
}
