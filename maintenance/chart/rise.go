package chart

import "math"

// The numbers of the verdict, in scales unless they are counts.
const (
	shortStart = 8    // readings of a first start; nothing is said sooner (rule of this project, no source)
	longStart  = 16   // once there are so many and no rise among them, they are the start
	leastScale = 0.15 // ln: a reading repeats no better than to 15 % (common practice, no source)
	trim       = 3.0  // no reading counts for more on the charts (rule of this project, no source)
	lambda     = 0.3  // of the EWMA, and its limit (NIST/SEMATECH e-Handbook 6.3.2.4)
	wide       = 3.0
	slack      = 0.5 // of the CUSUM, and its limit (Montgomery, Introduction to SQC, ch. 9)
	sumLimit   = 5.0
	straying   = 1.5 // two readings must stand out so far before the charts signal: a mad one cannot alone
	leastRise  = 2.0 // a smaller rise is weighed as if it were this (rule of this project, no source)
	proof      = 5.0 // ln of the odds at which a rise stays, or is gone: 150 to 1 (rule of this project, no source)
	oneProof   = 3.0 // the most that one reading adds to it: no single one decides
	clean      = 2   // so many readings on a charge speak of the oil that was filled; the second for no more than the first
	remembered = 8   // readings for which a verdict of oil stands
)

// judge is the state of the charts after some readings.
type judge struct {
	readings     []Reading
	start        start
	ewma         EWMA // of scales from the centre, as the sums
	n            int  // values in it
	sums         CUSUM
	above, below strays
	rise         rise
}

// strays are readings that stand out on one side, since that sum last left 0.
type strays struct{ from, n int }

// A rise is what the charts signalled last.
type rise struct {
	kind          kind
	signal        int // index of the reading that brought the signal
	height        float64
	back, stay    float64 // ln of the odds that it is gone, that it stays; from 0 up
	backOn        int     // charge on which back last left 0
	closed        int     // index of the reading at which it was gone
	level, after  recent
	afterIsNewOil bool
}

type kind int8

const (
	none  kind = iota
	open       // not known why
	stays      // new oil has not brought it back
	cured      // a change of oil has
	gone       // without one, or after a repair
)

func (j *judge) begin(from, n int) {
	first := strays{from: from + n}
	*j = judge{
		readings: j.readings, start: startOf(j.readings, from, n),
		ewma: EWMA{Lambda: lambda}, sums: CUSUM{Slack: slack}, above: first, below: first,
	}
}

// take judges reading i.
func (j *judge) take(i int) {
	z := j.scales(j.readings[i].LnPa)
	trimmed := min(max(z, -trim), trim)
	j.ewma, j.n = j.ewma.Next(trimmed), j.n+1
	j.sums = j.sums.Next(trimmed)
	j.above.count(i, j.sums.High, trimmed)
	j.below.count(i, j.sums.Low, -trimmed)
	switch {
	case j.rise.isOpen():
		j.weigh(i, z)
	case j.above.n >= 2 && (j.ewma.Value > j.ewma.Limit(j.n, wide, 1) || j.sums.High > sumLimit):
		j.rise = rise{kind: open, signal: i}
		for k := j.above.from; k <= i; k++ {
			j.raise(j.readings[k].LnPa)
		}
	}
}

// scales is how far a level stands from the centre.
func (j *judge) scales(lnPa float64) float64 { return (lnPa - j.start.centre) / j.start.scale }

func (s *strays) count(i int, sum, z float64) {
	if sum == 0 {
		*s = strays{from: i + 1}
	} else if z > straying {
		s.n++
	}
}

func (r *rise) isOpen() bool { return r.kind == open || r.kind == stays }

// raise adds a reading to those of the rise on the charge it was seen on.
func (j *judge) raise(lnPa float64) {
	j.rise.level.add(lnPa)
	j.rise.height = max(leastRise, j.scales(j.rise.level.median()))
}

// sank says whether the readings fell, and stay low: the start was not what the pump can do.
func (j *judge) sank() bool {
	return !j.rise.isOpen() && j.sums.Low > sumLimit && j.below.n >= 2
}

// weigh takes a reading after the signal as evidence. Between a rise that stays at its
// height u and one that is gone, a normal reading z shifts the odds by u(z - u/2). Any
// reading can tell that the rise is gone; that it stays, only new oil as it was filled.
func (j *judge) weigh(i int, z float64) {
	r, now := &j.rise, j.readings[i]
	changed := now.Charge != j.readings[r.signal].Charge
	isClean := changed && j.isClean(i)
	e := r.proof(z)
	if r.back == 0 {
		r.backOn = now.Charge
	}
	r.back = max(0, r.back-e)
	switch before := j.readings[i-1]; {
	case !isClean || !now.Fresh:
		e = min(e, 0)
	case before.Charge == now.Charge:
		e = min(e, r.proof(j.scales(before.LnPa)))
	}
	r.stay = max(0, r.stay+e)
	switch {
	case isClean:
		r.filled(now)
	case !changed:
		j.raise(now.LnPa)
	}
	switch {
	case r.back >= proof:
		j.close(i)
	case r.stay >= proof:
		r.kind = stays
	}
}

func (r *rise) proof(z float64) float64 {
	return min(max(r.height*(z-r.height/2), -oneProof), oneProof)
}

// isClean says whether reading i is one of the first on its charge.
func (j *judge) isClean(i int) bool {
	return i < clean || j.readings[i-clean].Charge != j.readings[i].Charge
}

func (r *rise) filled(now Reading) {
	if now.Fresh && !r.afterIsNewOil {
		r.after, r.afterIsNewOil = recent{}, true
	}
	if now.Fresh || !r.afterIsNewOil {
		r.after.add(now.LnPa)
	}
}

// close ends a rise that is gone, and starts the charts afresh.
func (j *judge) close(i int) {
	r := &j.rise
	r.closed = i
	if r.kind == open && r.backOn != j.readings[r.signal].Charge {
		r.kind = cured
	} else {
		r.kind = gone
	}
	j.ewma.Value, j.n, j.sums.High, j.sums.Low = 0, 0, 0, 0
	j.above, j.below = strays{from: i + 1}, strays{from: i + 1}
}

// recent are the newest values of a kind.
type recent struct {
	values [9]float64
	n      int
}

func (r *recent) add(v float64) {
	r.values[r.n%len(r.values)] = v
	r.n++
}

func (r recent) median() float64 { return middle(r.values[:min(r.n, len(r.values))]) }

func (j *judge) finding() Finding {
	f := Finding{Want: Readings, CUSUMLimit: sumLimit, Signal: -1, From: j.start.from, Factor: 1}
	if j.start.n == 0 {
		return f
	}
	s, r := j.start, &j.rise
	f.N, f.Centre, f.Scale = s.n, s.centre, s.scale
	f.EWMA, f.EWMALimit = s.centre+s.scale*j.ewma.Value, s.centre+s.scale*j.ewma.Limit(max(1, j.n), wide, 1)
	f.CUSUM = j.sums.High
	now := f.EWMA
	if r.kind != none {
		f.Signal, f.Level = r.signal, r.level.median()
		if f.AfterN, f.New = min(r.after.n, len(r.after.values)), r.afterIsNewOil; f.AfterN > 0 {
			f.After = r.after.median()
		}
	}
	switch {
	case !r.isOpen():
	case f.AfterN > 0:
		now = f.After
	default:
		now = f.Level
	}
	f.Factor = math.Exp(now - s.centre)
	f.Verdict, f.Want = j.verdict()
	return f
}

func (j *judge) verdict() (Verdict, Want) {
	last := len(j.readings) - 1
	switch {
	case last < j.start.from+shortStart:
		return TooFew, Readings
	case j.rise.kind == open:
		return TooFew, j.want(last)
	case j.rise.kind == stays:
		return Pump, Nothing
	case j.rise.kind == cured && last < j.rise.closed+remembered:
		return Oil, Nothing
	}
	return Steady, Nothing
}

// want is what would tell why an open rise is there.
func (j *judge) want(last int) Want {
	now, isSecond := j.readings[last], last > 0 && j.readings[last-1].Charge == j.readings[last].Charge
	switch {
	case now.Charge == j.readings[j.rise.signal].Charge:
		return Change
	case !isSecond && (now.Fresh || j.rise.back > 0):
		return Readings
	}
	return NewOil
}
