package maintenance

import (
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// fromMembers builds an entry, or the draft of one, from the members of its object, and
// gives the fields that were told. The kind comes first: it says which fields there are.
func fromMembers(members []member) (e Entry, told map[string]bool, err error) {
	if err := e.setKind(members); err != nil {
		return e, nil, err
	}
	act := reflect.ValueOf(e.Act).Elem()
	fields := FieldsOf(e.Act.Kind())
	told = make(map[string]bool, len(members))
	for _, m := range members {
		told[m.name] = true
		if err := e.setMember(act, fields, m); err != nil {
			return e, nil, err
		}
	}
	return e, told, nil
}

func (e *Entry) setKind(members []member) error {
	for _, m := range members {
		if m.name != "kind" {
			continue
		}
		var kind string
		if err := decodeText("kind", m.value, &kind); err != nil {
			return err
		}
		act, ok := NewAct(kind)
		if !ok {
			return reject("kind", "give one of "+strings.Join(Kinds(), ", "), "%s is no kind of entry", short(m.value))
		}
		e.Act = act
		return nil
	}
	return reject("kind", "give one of "+strings.Join(Kinds(), ", "), "the kind is missing")
}

func (e *Entry) setMember(act reflect.Value, fields []Field, m member) (err error) {
	switch m.name {
	case "kind":
	case "id":
		if err = decodeText("id", m.value, &e.ID); err == nil && !idForm.MatchString(e.ID) {
			err = reject("id", "give 1 to 200 visible characters without blanks", "%s cannot be an id", short(m.value))
		}
	case "at":
		e.At, err = decodeTime("at", m.value)
	case "recorded":
		e.Recorded, err = decodeTime("recorded", m.value)
	case "note":
		err = decodeText("note", m.value, &e.Note)
	case "by":
		err = decodeText("by", m.value, &e.By)
	case "prev":
		err = decodeHash("prev", m.value, &e.Prev)
	case "hash":
		err = decodeHash("hash", m.value, &e.Hash)
	case "seq":
		if e.Seq, err = strconv.ParseUint(string(m.value), 10, 63); err != nil {
			err = reject("seq", "leave it out: the book sets it", "%s is not a sequence number", short(m.value))
		}
	default:
		for _, f := range fields {
			if f.Name == m.name {
				return f.set(act, m.value)
			}
		}
		return reject(m.name, "a "+e.Act.Kind()+" has "+strings.Join(fieldNames(fields), ", "), "a %s has no such field", e.Act.Kind())
	}
	return err
}

func decodeHash(name string, raw jsontext.Value, p *string) error {
	if err := decodeText(name, raw, p); err != nil {
		return err
	}
	if len(*p) != 64 || strings.Trim(*p, "0123456789abcdef") != "" {
		return reject(name, "leave it out: the book sets it", "%s is not a SHA-256 in hex", short(raw))
	}
	return nil
}

func fieldNames(fields []Field) []string {
	names := []string{"id", "at", "note", "by"}
	for _, f := range fields {
		names = append(names, f.Name)
	}
	return names
}

// checkWhole asks for the fields that have to be told, and holds what no single one can know.
func (e *Entry) checkWhole(told map[string]bool) error {
	for _, f := range FieldsOf(e.Act.Kind()) {
		if f.Must && !told[f.Name] {
			return f.wrong("a %s needs it", e.Act.Kind())
		}
	}
	switch a := e.Act.(type) {
	case *WeighAct:
		return a.check()
	case *InspectAct:
		if (a.Vessel == "") == (a.Pump == "") {
			return reject("vessel", "give vessel or pump", "an inspect is of a vessel or of a pump")
		}
		if a.Colour == nil && a.Look == "" && a.AcidMgG == nil && a.WaterPpm == nil && a.Particles == "" {
			return reject("", "give colour, look, acid_mg_g, water_ppm or particles", "nothing was observed")
		}
	case *LotAct:
		if a.IsZero() {
			return reject("grams", "give grams or ml", "a lot needs its amount")
		}
	case *NoteAct, *SkipAct:
		if e.Note == "" {
			return reject("note", "say it in a few words", "a %s needs words", e.Act.Kind())
		}
	}
	if amount, ok := amountOf(e.Act); ok {
		_, drain := e.Act.(*DrainAct) // of which a temperature alone tells how the pump cools
		return amount.check(drain)
	}
	return nil
}

func (a *WeighAct) check() error {
	if (a.Vessel == "") == (a.Pump == "") {
		return reject("vessel", "give vessel or pump", "a weigh is of a vessel or of a pump")
	}
	given := 0
	for _, p := range []*float64{a.Grams, a.Ml, a.GrossG} {
		if p != nil {
			given++
		}
	}
	if given != 1 {
		return reject("grams", "give one of grams, ml or gross_g", "%d amounts are given", given)
	}
	if a.TempC != nil && a.Ml == nil {
		return reject("temp_c", "leave it out, or give ml", "a temperature without a volume")
	}
	if a.GrossG != nil && a.Pump != "" {
		return reject("gross_g", "give grams or ml of what is in the sump", "a pump has no tare")
	}
	return nil
}

func (a Amount) check(tempAlone bool) error {
	if a.Grams != nil && a.Ml != nil {
		return reject("ml", "give grams or ml, not both", "two amounts are given")
	}
	if a.TempC != nil && a.Ml == nil && !tempAlone {
		return reject("temp_c", "leave it out, or give ml", "a temperature without a volume")
	}
	return nil
}

// amountOf is the amount an act moves, if it is of a kind that moves one.
func amountOf(act Act) (Amount, bool) {
	switch a := act.(type) {
	case *LotAct:
		return a.Amount, true
	case *DrainAct:
		return a.Amount, true
	case *FillAct:
		return a.Amount, true
	case *PourAct:
		return a.Amount, true
	case *DecantAct:
		return a.Amount, true
	case *FilterAct:
		return a.Amount, true
	case *SeparateAct:
		return a.Amount, true
	case *DiscardAct:
		return a.Amount, true
	}
	return Amount{}, false
}

// encodeUntilHash writes all but the hash and the closing brace: the bytes the hash covers.
func encodeUntilHash(e Entry) []byte {
	w := &writer{b: make([]byte, 0, 320)}
	w.b = append(w.b, '{')
	if e.Seq > 0 {
		w.key("seq")
		w.b = strconv.AppendUint(w.b, e.Seq, 10)
	}
	w.text("id", e.ID)
	w.time("at", e.At)
	w.time("recorded", e.Recorded)
	if e.Act != nil {
		w.text("kind", e.Act.Kind())
		w.act(e.Act)
	}
	w.text("note", e.Note)
	w.text("by", e.By)
	w.text("prev", e.Prev)
	return w.b
}

// A writer appends members in canonical form, leaving out what is unset.
type writer struct{ b []byte }

func (w *writer) key(name string) {
	if len(w.b) > 1 {
		w.b = append(w.b, ',')
	}
	w.b = append(append(append(w.b, '"'), name...), '"', ':')
}

func (w *writer) text(name, s string) {
	if s == "" {
		return
	}
	w.key(name)
	// Text reaches us through jsontext, which has refused bad UTF-8, or from our own code.
	w.b, _ = jsontext.AppendQuote(w.b, strings.ToValidUTF8(s, "\uFFFD"))
}

func (w *writer) time(name string, t time.Time) {
	if t.IsZero() {
		return
	}
	w.key(name)
	w.b = append(w.b, '"')
	w.b = t.AppendFormat(w.b, time.RFC3339Nano)
	w.b = append(w.b, '"')
}

func (w *writer) act(act Act) {
	v := reflect.ValueOf(act).Elem()
	for _, f := range FieldsOf(act.Kind()) {
		w.field(f, v.FieldByIndex(f.location).Addr().Interface())
	}
}

func (w *writer) field(f Field, value any) {
	switch p := value.(type) {
	case **float64:
		if *p != nil {
			w.key(f.Name)
			w.number(**p)
		}
	case *[]float64:
		w.numbers(f.Name, *p)
	case *string:
		w.text(f.Name, *p)
	case *Stage:
		w.text(f.Name, string(*p))
	case **bool:
		if *p != nil {
			w.key(f.Name)
			w.b = strconv.AppendBool(w.b, **p)
		}
	case *time.Time:
		w.time(f.Name, *p)
	case **Limits:
		if *p != nil {
			w.key(f.Name)
			b, _ := json.Marshal(*p) // a struct of finite numbers: cannot fail
			w.b = append(w.b, b...)
		}
	}
}

func (w *writer) numbers(name string, all []float64) {
	if all == nil {
		return
	}
	w.key(name)
	w.b = append(w.b, '[')
	for i, v := range all {
		if i > 0 {
			w.b = append(w.b, ',')
		}
		w.number(v)
	}
	w.b = append(w.b, ']')
}

// number writes the shortest decimal that reads back as v, never with an exponent inside
// the ranges of the kinds.
func (w *writer) number(v float64) {
	if v == 0 {
		v = 0 // no negative zero
	}
	w.b = strconv.AppendFloat(w.b, v, 'f', -1, 64)
}
