package chart

// A rise is what the charts signalled last, and the evidence on it since.
type rise struct {
	kind       kind
	signal     int     // index of the reading that brought the signal
	charge     int     // which that reading was on
	height     float64 // of the rise on that charge, in scales from the centre
	back, stay float64 // ln of the odds that it is gone, and that it stays; never below 0
	backOn     int     // charge on which back last left 0
	onNew      float64 // what the reading on new oil before proved, if hasNew
	hasNew     bool
	closed     int // index of the reading at which it was gone
	level      recent
	after      recent // of new oil alone once hasNew
}

type kind int8

const (
	none  kind = iota
	open       // not known why
	stays      // new oil has not brought it back
	cured      // a change of oil has
	gone       // without one, or after a repair
)

func (r *rise) isOpen() bool { return r.kind == open || r.kind == stays }

// raise adds a reading to those of the rise on the charge it was seen on.
func (r *rise) raise(s start, lnPa float64) {
	r.level.add(lnPa)
	r.height = max(leastRise, s.scales(r.level.median()))
}

// proof is what a level z proves. Between a rise that stays at its height and one that is
// gone, a normal value z shifts the ln of the odds by height (z - height/2).
func (r *rise) proof(z float64) float64 {
	return min(max(r.height*(z-r.height/2), -oneProof), oneProof)
}

// weigh takes reading i as evidence. Any can tell that the rise is gone; that it stays, only
// one on new oil as it was filled. Both are doubted as far as the centre is.
func (j *judge) weigh(i int) {
	r, now := &j.rise, j.readings[i]
	if r.back == 0 {
		r.backOn = now.Charge
	}
	r.back = max(0, r.back-j.against(i))
	r.stay = max(0, r.stay+j.proofOfPump(i))
	switch {
	case now.Charge == r.charge:
		r.raise(j.start, now.LnPa)
	case j.isClean(i) && (now.Fresh || !r.hasNew):
		r.after.add(now.LnPa)
	}
	switch {
	case r.back >= proof:
		j.close(i)
	case r.stay >= proof:
		r.kind = stays
	}
}

// against is what reading i says against the rise being gone. Oil grows worse as it serves:
// after a change the first reading on a charge says so, the second only if the first did.
func (j *judge) against(i int) float64 {
	r, now := &j.rise, j.readings[i]
	doubted := func(i int) float64 { return r.proof(j.start.scales(j.readings[i].LnPa) + j.start.doubt()) }
	switch {
	case now.Charge == r.charge || j.isFirst(i):
		return doubted(i)
	case j.isClean(i):
		return min(doubted(i), max(0, doubted(i-1)))
	}
	return 0
}

// proofOfPump is what reading i says for the rise staying. On new oil it counts for no
// more than the reading on new oil before: a mad one needs a second, and oil that grows
// worse at once is not the pump.
func (j *judge) proofOfPump(i int) float64 {
	r, now := &j.rise, j.readings[i]
	e := r.proof(j.start.scales(now.LnPa) - j.start.doubt())
	if now.Charge == r.charge || !now.Fresh || !j.isClean(i) {
		return min(e, 0)
	}
	if !r.hasNew {
		r.after = recent{}
	}
	before := r.onNew
	if r.onNew = e; r.hasNew {
		e = min(e, max(0, before))
	}
	r.hasNew = true
	return e
}

func (j *judge) isFirst(i int) bool { return j.readings[i-1].Charge != j.readings[i].Charge }

// isClean says whether reading i is one of the first two on its charge: they speak of the
// oil that was filled.
func (j *judge) isClean(i int) bool { return j.readings[i-2].Charge != j.readings[i].Charge }

// close ends a rise that is gone, and starts the charts afresh.
func (j *judge) close(i int) {
	r := &j.rise
	if r.closed = i; r.kind == open && r.backOn != r.charge {
		r.kind = cured
	} else {
		r.kind = gone
	}
	j.restart(i + 1)
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

func (r *recent) held() int { return min(r.n, len(r.values)) }

func (r *recent) median() float64 {
	values := r.values
	return middle(values[:r.held()])
}
