package maintenance

import (
	"maps"
	"slices"
	"time"
)

// Rules are what the configuration says: the limits over the defaults, the shortest run
// that is a cycle, the upkeep tasks and the person's zone.
type Rules struct {
	Limits      Limits
	ShortestRun time.Duration
	Care        []CareTask
	Zone        *time.Location
}

// DefaultRules are those of the documentation.
func DefaultRules() Rules {
	return Rules{Limits: DefaultLimits(), ShortestRun: 20 * time.Minute, Zone: time.UTC}
}

// A CareTask is an upkeep task: after so many cycles (of a class of food), so many run
// hours, or by the calendar.
type CareTask struct {
	Task     string
	Pump     string // empty: each pump
	Cycles   float64
	RunHours float64
	Class    string
	Next     func(after time.Time) time.Time // nil: not by the calendar
}

// A State is where every gram is and what is known of it, after a number of entries. It
// holds a bounded memory of the past, so that its size does not grow with the journal, and
// it is plain data: marshalled and read back it is the same state.
type State struct {
	At       time.Time           `json:"at"`  // of the last entry folded
	Seq      uint64              `json:"seq"` // of the last entry folded, in order of happening
	Pumps    map[string]*Pump    `json:"pumps"`
	Vessels  map[string]*Vessel  `json:"vessels"`
	Media    map[string]*Medium  `json:"media"`
	Lots     map[string]*Lot     `json:"lots"`
	Care     map[string]CareDone `json:"care"`  // by TASK or TASK@PUMP
	Aside    map[string]Aside    `json:"aside"` // by DO/SUBJECT: the newest only
	Medium   string              `json:"medium"`
	LotOrder []string            `json:"lot_order"`
	Ledger   Ledger              `json:"ledger"`
	Signal   Signalled           `json:"signal"`
}

// Signalled is the machine signal's entry that the book heard of last, among those folded.
type Signalled struct {
	Seq  uint64 `json:"seq"`
	Pump string `json:"pump"`
}

// Ledger is the outside of the book: what came in and what left.
type Ledger struct {
	Opening    Mass `json:"opening"`
	Received   Mass `json:"received"`
	Found      Mass `json:"found"`
	CarryOver  Mass `json:"carry_over"`
	Discarded  Mass `json:"discarded"`
	Lost       Mass `json:"lost"`
	Expelled   Mass `json:"expelled"`
	WaterTaken Mass `json:"water_taken"`
}

// A Lot is a purchase of new oil. Colour and acid number are those seen on it while new.
type Lot struct {
	Name      string    `json:"name"`
	Grade     string    `json:"grade"`
	Density15 float64   `json:"density_15"` // kg/m3; 0 if not told
	Price     float64   `json:"price"`
	Currency  string    `json:"currency"`
	Bought    Mass      `json:"bought"`
	At        time.Time `json:"at"`
	Told      Telling   `json:"told"`
	Colour    *float64  `json:"colour"`
	AcidMgG   *float64  `json:"acid"`
}

// A Medium is a filter medium and what it holds back. The first and the last pass tell how
// it loads: minutes for a gram, corrected to the viscosity of oil at 20 °C.
type Medium struct {
	Name      string    `json:"name"`
	Entry     string    `json:"entry"`
	Since     time.Time `json:"since"`
	Held      Parcel    `json:"held"`
	Passes    int       `json:"passes"`
	Through   Mass      `json:"through"`    // gone through it
	Pump      string    `json:"pump"`       // whose oil the newest timed pass was
	FirstM    float64   `json:"first_m"`    // minutes per g, of the first timed pass
	FirstPass int       `json:"first_pass"` // which pass that was
	LastM     float64   `json:"last_m"`     // minutes per g, newest
	First     Told      `json:"first"`
	Last      Told      `json:"last"`
}

// A Vessel is anything but a pump that holds oil.
type Vessel struct {
	Name       string    `json:"name"`
	CapacityMl *float64  `json:"capacity_ml"`
	HeightMm   *float64  `json:"height_mm"`
	TareG      *float64  `json:"tare_g"`
	StoreC     *float64  `json:"store_c"`
	IsWaste    bool      `json:"waste"`
	Retired    bool      `json:"retired"`
	Entry      string    `json:"entry"` // that declared it
	Told       Telling   `json:"told"`
	Held       bool      `json:"held"` // it has held something
	Content    Parcel    `json:"content"`
	Stage      Stage     `json:"stage"`
	Since      time.Time `json:"since"`       // of the stage
	SinceEntry string    `json:"since_entry"` // that brought it there
	ClockAt    time.Time `json:"clock_at"`    // from when settling counts
	PouredC    float64   `json:"poured_c"`    // temperature then
	FallenMm   float64   `json:"fallen_mm"`   // how far a droplet of 1 µm had sunk by then
	Sunk       Mass      `json:"sunk"`        // water at the bottom that the last pour did not stir up
	Look       *Look     `json:"look"`        // since the last inflow
	Pump       string    `json:"pump"`        // from which the newest of the oil was drained
	StoodShare float64   `json:"stood_share"` // of decanted oil: how long it stood, of what settling needs; 0: nobody knows
}

// A Look is an observation of the oil.
type Look struct {
	At        time.Time `json:"at"`
	Entry     string    `json:"entry"`
	Look      string    `json:"look"`
	Colour    *float64  `json:"colour"`
	AcidMgG   *float64  `json:"acid"`
	WaterPpm  *float64  `json:"ppm"`
	Particles string    `json:"particles"`
}

// CareDone is the last time an upkeep task was done, with each pump's counters then.
type CareDone struct {
	At    time.Time           `json:"at"`
	Entry string              `json:"entry"`
	Pumps map[string]CareMark `json:"pumps"`
}

// A CareMark is a pump's counters at one time.
type CareMark struct {
	Cycles  int            `json:"cycles"`
	RunTime time.Duration  `json:"run"`
	Classes map[string]int `json:"classes"`
}

// Aside is an action that a person snoozed or skipped.
type Aside struct {
	Action string    `json:"action"`
	Entry  string    `json:"entry"`
	Skip   bool      `json:"skip"`
	Until  time.Time `json:"until"`
}

// NewState is the state of an empty book.
func NewState() *State {
	return &State{
		Pumps: map[string]*Pump{}, Vessels: map[string]*Vessel{}, Media: map[string]*Medium{},
		Lots: map[string]*Lot{}, Care: map[string]CareDone{}, Aside: map[string]Aside{},
	}
}

// Clone is a copy that shares nothing that either may change.
func (s *State) Clone() *State {
	c := *s
	c.Pumps = make(map[string]*Pump, len(s.Pumps))
	for name, p := range s.Pumps {
		c.Pumps[name] = p.clone()
	}
	c.Vessels, c.Media, c.Lots = copiedMap(s.Vessels), copiedMap(s.Media), copiedMap(s.Lots)
	c.Care = maps.Clone(s.Care)
	c.Aside = maps.Clone(s.Aside)
	c.LotOrder = slices.Clip(s.LotOrder)
	return &c
}

// copiedMap copies what a map points to. The lots of a parcel are shared: no parcel is ever
// changed where it stands.
func copiedMap[T any](m map[string]*T) map[string]*T {
	out, all := make(map[string]*T, len(m)), make([]T, 0, len(m))
	for k, v := range m {
		all = append(all, *v)
		out[k] = &all[len(all)-1]
	}
	return out
}

// InPumps, InVessels and InMedia are the masses inside the book.
func (s *State) InPumps() (sum Mass) {
	for _, p := range s.Pumps {
		sum += p.Sump.Total()
	}
	return sum
}

// InVessels is the mass in all vessels.
func (s *State) InVessels() (sum Mass) {
	for _, v := range s.Vessels {
		sum += v.Content.Total()
	}
	return sum
}

// InMedia is the mass that filter media hold back.
func (s *State) InMedia() (sum Mass) {
	for _, m := range s.Media {
		sum += m.Held.Total()
	}
	return sum
}

// Imbalance is what came in less what is there and what left: 0, or the book is broken.
func (s *State) Imbalance() Mass {
	l := s.Ledger
	in := l.Opening + l.Received + l.Found + l.CarryOver
	return in - s.InPumps() - s.InVessels() - s.InMedia() - l.Discarded - l.Lost - l.Expelled - l.WaterTaken
}
