package maintenance

import (
	"maps"
	"slices"
	"time"

	"sumpbook/maintenance/physics"
)

// A Pump is an oil-sealed rotary-vane pump: what was declared of it, what its sump holds,
// what it is doing, and a bounded memory of what it did.
type Pump struct {
	Name         string   `json:"name"`
	Entry        string   `json:"entry"` // that declared it; empty: a signal named a pump nobody declared
	ChargeMl     float64  `json:"charge_ml"`
	HeelMl       *float64 `json:"heel_ml"`
	SpeedM3H     *float64 `json:"speed_m3_h"`
	BallastLMin  *float64 `json:"ballast_l_min"`
	HotC         *float64 `json:"hot_c"`
	AmbientC     *float64 `json:"ambient_c"`
	TrapC        *float64 `json:"trap_c"`
	CoolTauMin   *float64 `json:"cool_tau_min"`
	CarryFactor  *float64 `json:"carry_over_factor"` // pinned, and so are the next two
	SettleFactor *float64 `json:"settling_factor"`
	MediumFactor *float64 `json:"medium_factor"`
	Limits       Limits   `json:"limits"`
	Retired      bool     `json:"retired"`

	Declared time.Time     `json:"declared"`
	Told     Telling       `json:"told"`
	Held     bool          `json:"held"` // the sump has held something
	Sump     Parcel        `json:"sump"`
	Open     bool          `json:"open"` // drained, and not filled since
	Charge   *Charge       `json:"charge"`
	Run      *Run          `json:"run"`  // nil while it stands
	Last     *Stop         `json:"last"` // the newest stop
	RunTime  time.Duration `json:"run_time"`
	Cycles   int           `json:"cycles"`

	Temp           Temp           `json:"temp"`
	LastDrain      *time.Time     `json:"last_drain"`
	LastDrainEntry string         `json:"last_drain_entry"`
	Drains         []Mass         `json:"drains"` // what the newest drains that were no samples brought
	LastChange     *time.Time     `json:"last_change"`
	Changes        int            `json:"changes"`
	Full           *Full          `json:"full"` // the last full replacement that has run
	FirstOil       string         `json:"first_oil"`
	History        []Cycle        `json:"history"` // the newest cycles, oldest first
	Classes        map[string]int `json:"classes"` // cycles by class of food
	Pending        []Load         `json:"pending"` // weighed in for the running or next cycle
	Oddities       []Oddity       `json:"oddities"`
	BlankOffs      []Reading      `json:"blank_offs"`
	BlankNew       *Reading       `json:"blank_new"`   // the pump's own reading on new oil
	BlankFirst     *Reading       `json:"blank_first"` // the first such reading: what new oil once reached
	Noted          time.Time      `json:"noted"`       // the newest note about it: earlier checks are answered
	Look           *Look          `json:"look"`        // since the change
	LowSince       time.Time      `json:"low_since"`   // when the sump last came to hold less than it should
	LowEntry       string         `json:"low_entry"`
	Exhaust        Exhaust        `json:"exhaust"`
	Learning       Learning       `json:"learning,omitzero"`
}

// A Charge is what the sump holds from the first fill after a drain until the next drain.
// The heel that an open pump holds is one too, opened by the drain.
type Charge struct {
	ID           string        `json:"id"`
	Since        time.Time     `json:"since"`
	RunTime      time.Duration `json:"run_time"`
	Cycles       int           `json:"cycles"`
	WaterRemoved Mass          `json:"water_removed"`
	CarryOver    Mass          `json:"carry_over"`
	CarryLow     Mass          `json:"carry_low"`
	CarryHigh    Mass          `json:"carry_high"`
	Expelled     Mass          `json:"expelled"`
	Started      bool          `json:"started"`   // it has run
	LastFill     string        `json:"last_fill"` // before it first ran
	LastFillAt   time.Time     `json:"last_fill_at"`
	FullShare    float64       `json:"full_share"` // never-run share at that fill
	Weighed      bool          `json:"weighed"`    // all that was filled in was weighed
	IsFull       bool          `json:"is_full"`    // it was a full replacement, judged when it first ran
}

// Full is a change that replaced the oil.
type Full struct {
	At      time.Time     `json:"at"`
	Entry   string        `json:"entry"`
	Share   float64       `json:"share"`
	RunTime time.Duration `json:"run_time"` // the pump's, then
	Cycles  int           `json:"cycles"`   // the pump's, then
	Uses    int           `json:"uses"`     // the most charges any part of the sump had served before
}

// A Run is the pump running. A cycle broken by a silent source goes on as the same cycle:
// Before is what had run until then.
type Run struct {
	Cycle   string        `json:"cycle"` // id of the start
	Since   time.Time     `json:"since"`
	Began   time.Time     `json:"began"` // of the cycle's first start
	Accrued time.Time     `json:"accrued"`
	Before  time.Duration `json:"before"`
	Blank   bool          `json:"blank"`
	Ballast bool          `json:"ballast"`
	TrapC   *float64      `json:"trap_c"`
	Machine bool          `json:"machine"` // only a signal says so
	StartC  float64       `json:"start_c"`
	Seq     uint64        `json:"seq"`     // of the start
	Carried Mass          `json:"carried"` // carry-over of Before
	OutG    *float64      `json:"out_g"`   // weight out, told before the cycle went on
}

// A Stop is the newest end of a run.
type Stop struct {
	At        time.Time     `json:"at"`
	Entry     string        `json:"entry"`
	Cycle     string        `json:"cycle"`
	Began     time.Time     `json:"began"`
	Length    time.Duration `json:"length"`
	Counted   bool          `json:"counted"` // it ended a cycle
	Uncertain bool          `json:"uncertain"`
	Drained   bool          `json:"drained"` // a drain has come since
	Seq       uint64        `json:"seq"`
	Machine   bool          `json:"machine"` // a signal said so
	Blank     bool          `json:"blank"`
	Ballast   bool          `json:"ballast"`
	TrapC     *float64      `json:"trap_c"`     // as the start told it
	TrapEndC  *float64      `json:"trap_end_c"` // as the stop told it
	HotC      *float64      `json:"hot_c"`      // as the stop told it
	Carried   Mass          `json:"carried"`
}

// A Cycle is one ended run on a load.
type Cycle struct {
	ID       string        `json:"id"`
	Start    time.Time     `json:"start"`
	Stop     time.Time     `json:"stop"`
	Length   time.Duration `json:"length"`
	Charge   string        `json:"charge"`
	Loads    []Load        `json:"loads"`
	OutG     *float64      `json:"out_g"`
	CarryOut Mass          `json:"carry"`
	Class    string        `json:"class"`
}

// A Load is weight put in.
type Load struct {
	Grams float64 `json:"g"`
	Fresh bool    `json:"fresh"`
	Class string  `json:"class"`
}

// An Oddity is what a signal said that does not fit the book: a check asks about it.
type Oddity struct {
	What  string    `json:"what"`
	Entry string    `json:"entry"`
	At    time.Time `json:"at"`
}

// A Reading is a blank-off pressure.
type Reading struct {
	Pa     float64   `json:"pa"`
	At     time.Time `json:"at"`
	Entry  string    `json:"entry"`
	Charge string    `json:"charge"`
	Change int       `json:"change"` // number of that charge
	Fresh  bool      `json:"fresh"`  // the charge was a full replacement
}

// Temp is the oil's temperature at one time, from which it warms or cools.
type Temp struct {
	C  float64   `json:"c"`
	At time.Time `json:"at"`
}

// Exhaust is the oil lost between weighings of the sump, by run hours.
type Exhaust struct {
	RunTime time.Duration `json:"run_time"` // at the last weighing
	Lost    Mass          `json:"lost"`     // since then, by weighings too near to it to tell a rate
	Rate    *float64      `json:"rate"`     // g/h at the last weighing
	Before  *float64      `json:"before"`   // g/h at the one before
	Entry   string        `json:"entry"`
	At      time.Time     `json:"at"`
}

const (
	maxHistory    = 256
	maxReadings   = 64
	firstReadings = 16 // of them, those that a chart's start may take (chart.Judge)
	maxOddities   = 8
	maxDrains     = 5
)

func (p *Pump) clone() *Pump {
	c := *p
	c.Charge, c.Run, c.Last, c.Full, c.BlankNew, c.Look = copied(p.Charge), copied(p.Run), copied(p.Last), copied(p.Full), copied(p.BlankNew), copied(p.Look)
	// The bounded memories only ever grow at their end or are replaced, so a copy may share
	// them as long as an append makes room of its own.
	c.History, c.Pending = slices.Clip(p.History), slices.Clip(p.Pending)
	c.Oddities, c.BlankOffs, c.Drains = slices.Clip(p.Oddities), slices.Clip(p.BlankOffs), slices.Clip(p.Drains)
	c.Classes = maps.Clone(p.Classes)
	c.Learning = p.Learning.clone()
	return &c
}

func copied[T any](p *T) *T {
	if p == nil {
		return nil
	}
	c := *p
	return &c
}

// or is a told number, or what is assumed until it is told.
func or(told *float64, assumed float64) float64 {
	if told != nil {
		return *told
	}
	return assumed
}

func (p *Pump) ambientC() float64 { return or(p.AmbientC, physics.DefaultAmbientC) }

// runningC is the oil's temperature in normal running, told or 45 K over the room.
func (p *Pump) runningC() float64 { return or(p.HotC, p.ambientC()+physics.DefaultRunningRiseK) }

// heelMl is the oil no drain reaches: told, or 3 % of the charge (common practice, no source).
func (p *Pump) heelMl() float64 { return or(p.HeelMl, 0.03*p.ChargeMl) }

// tempAt estimates the oil's temperature: warming while the pump runs, cooling while it
// stands (Newton; physics.PumpTemp).
func (p *Pump) tempAt(t time.Time) float64 {
	if p.Temp.At.IsZero() {
		return p.ambientC()
	}
	final, tau := p.ambientC(), p.coolTauMin()
	if p.Run != nil {
		final, tau = p.runningC(), physics.DefaultWarmTauMin
	}
	minutes := max(0, t.Sub(p.Temp.At).Minutes())
	c, err := physics.PumpTemp(p.Temp.C, final, tau, minutes)
	if err != nil {
		return final // months later: long since there
	}
	return c
}

// accrue books the run hours up to t: on the pump, on the charge, and on the oil in it.
func (p *Pump) accrue(t time.Time) {
	if p.Run == nil || !t.After(p.Run.Accrued) {
		return
	}
	dt := t.Sub(p.Run.Accrued)
	startC := p.tempAt(p.Run.Accrued)
	p.RunTime += dt
	if p.Charge != nil {
		p.Charge.RunTime += dt
	}
	oil := p.Sump.OilMass().Grams()
	p.Sump.RunGH += oil * dt.Hours()
	if heat, err := physics.ThermalHoursRun(dt.Hours(), startC, p.runningC(), physics.DefaultWarmTauMin, physics.AgeingRefC); err == nil {
		p.Sump.HeatGH += oil * heat
	}
	p.Run.Accrued = t
}

// limits are the pump's own over the rules'.
func (p *Pump) limits(r Rules) Limits { return p.Limits.Over(r.Limits) }

func (p *Pump) odd(e Entry, what string) {
	p.Oddities = bounded(p.Oddities, Oddity{what, e.ID, e.At}, maxOddities)
}

// bounded adds one and keeps the newest n; a clone that shares all is not written through.
func bounded[T any](all []T, one T, n int) []T {
	if len(all) < n {
		return append(all, one)
	}
	kept := make([]T, n)
	copy(kept, all[len(all)-n+1:])
	kept[n-1] = one
	return kept
}
