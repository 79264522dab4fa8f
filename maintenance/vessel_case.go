package maintenance

import (
	"math"
	"sort"
	"time"
)

const (
	// traceG is what clings to the glass: a vessel with less asks for nothing (common
	// practice, no source).
	traceG        = 5
	vesselsWithin = 7 * day  // a jar that waits holds up nothing yet (common practice, no source)
	thawWithin    = day      // a frozen jar is in no hurry, but it blocks the cold place
	clearsWithin  = 14 * day // water that takes longer to settle is frozen out (rule of this project, no source)
	headspace     = 0.1      // of a vessel's capacity (common practice, no source)
)

// A vesselCase is a vessel with what its physics says of it.
type vesselCase struct {
	*Vessel
	free    Mass      // water beyond what the oil dissolves
	ready   time.Time // the end of its wait
	timed   bool      // it has such an end
	wet     bool      // more free water than ready oil may hold
	tooWet  bool      // filtered often enough, and yet wet
	lacks   int       // filter passes
	sunk    Mass      // water that will have settled by then
	stuck   string    // why settling will not clear it, or empty
	stuckAt time.Time // since when that is known
}

func (q *asking) vesselCase(v *Vessel) *vesselCase {
	c := &vesselCase{Vessel: v}
	if v.Content.Total().Grams() < traceG {
		return c
	}
	c.free = v.freeWater()
	c.ready, c.timed = q.s.readyAt(v, q.r.Limits)
	l := q.r.Limits
	c.wet = c.free.Grams() > *l.FillFreeWaterG
	c.lacks = max(0, int(math.Ceil(*l.FilterPasses))-v.Content.Passes)
	c.tooWet = c.wet && v.Stage == Filtered && c.lacks == 0
	switch {
	case c.tooWet:
		q.clearing(c)
	case c.timed && v.Stage != Freezing:
		c.sunk = q.s.sunkWater(v, c.ready)
		c.stuck, c.stuckAt = q.stuck(c)
	}
	return c
}

// stuck says why settling will not clear a vessel, and since when that is known: still hazy
// or milky after the wait is a stable emulsion; or it is mostly water.
func (q *asking) stuck(v *vesselCase) (why string, since time.Time) {
	if l := v.Look; l != nil && (l.Look == "milky" || l.Look == "hazy") && !l.At.Before(v.ready) {
		return "still " + l.Look + " when it should have settled: a stable emulsion", l.At
	}
	if v.clear() <= 0 {
		return "it holds nothing clear to pour off", v.ready
	}
	return "", since
}

// clear is what a decant pours off when the wait is over.
func (v *vesselCase) clear() Mass { return (*folding)(nil).clearOf(v.Content, v.sunk) }

// willSettle is the share of the free water that will have sunk by then.
func (v *vesselCase) willSettle() float64 {
	if v.free == 0 {
		return 1
	}
	return float64(v.sunk) / float64(v.free)
}

// clearing lets filtered oil that is too wet stand until so much has sunk, to the hour, that
// what is over it is dry enough to fill. Where that takes too long, settling will not do.
func (q *asking) clearing(v *vesselCase) {
	limit := MassOf(*q.r.Limits.FillFreeWaterG)
	most := int(clearsWithin / time.Hour)
	after := func(h int) time.Time { return v.Since.Add(time.Duration(h) * time.Hour) }
	h := sort.Search(most, func(h int) bool { return v.free-q.s.sunkWater(v.Vessel, after(h)) <= limit })
	v.ready, v.timed = after(h), h < most
	v.sunk = q.s.sunkWater(v.Vessel, v.ready)
	if !v.timed || v.clear() <= 0 {
		v.stuck, v.stuckAt = "its free water will not settle out within 14 days", v.Since
	}
}

// holdsEnough says whether a vessel holds enough to ask for anything.
func (q *asking) holdsEnough(do Do, v *vesselCase) bool {
	switch {
	case v.Content.Empty():
		q.not(do, v.Name, "it is empty")
	case v.Content.Total().Grams() < traceG:
		q.not(do, v.Name, "it holds %s, less than %d g", grams(v.Content.Total()), traceG)
	default:
		return true
	}
	return false
}
