package maintenance

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// An Entry is one thing seen to happen to the oil. Once recorded it never changes; a
// mistake is answered by a later void or weigh that names what it corrects.
type Entry struct {
	Seq      uint64    // given by the journal: 1, 2, 3, … without gaps
	ID       string    // made where it was seen; the same ID twice is one entry
	At       time.Time // when it happened, in the offset of who told it
	Recorded time.Time // when the book heard of it, UTC
	Act      Act       // what happened
	Note     string    // words
	By       string    // who told, or the source of a machine signal
	Prev     string    // hash of the entry before, hex
	Hash     string    // hash of this entry's line before `,"hash":`, hex
}

// MaxLine bounds one entry as JSON, in bytes.
const MaxLine = 16 << 10

const maxText = 2000

// ZeroHash stands before the first entry.
const ZeroHash = "0000000000000000000000000000000000000000000000000000000000000000"

// Decode reads one entry, strictly: a duplicate key, an unknown kind or field, a value of
// the wrong type or outside its range is a *Rejection that names the field and what would
// be right. It does not ask whether the book can take the entry.
func Decode(line []byte) (Entry, error) {
	if len(line) > MaxLine {
		return Entry{}, reject("", fmt.Sprintf("an entry has at most %d bytes", MaxLine), "the entry is too long")
	}
	members, err := membersOf(line)
	if err != nil {
		return Entry{}, err
	}
	e, told, err := fromMembers(members)
	if err == nil {
		err = e.checkWhole(told)
	}
	return e, err
}

type member struct {
	name  string
	value jsontext.Value
}

// membersOf splits a JSON object into its members; jsontext refuses duplicate names, bad
// UTF-8 and anything after the object.
func membersOf(line []byte) ([]member, error) {
	d := jsontext.NewDecoder(bytes.NewBuffer(line))
	tok, err := d.ReadToken()
	if err != nil {
		return nil, syntax(err)
	}
	if tok.Kind() != '{' {
		return nil, reject("", `an entry is an object: {"kind":"note","note":"…"}`, "not a JSON object")
	}
	all := make([]member, 0, 16)
	for d.PeekKind() != '}' {
		name, err := d.ReadToken()
		if err != nil {
			return nil, syntax(err)
		}
		key := name.String()
		value, err := d.ReadValue()
		if err != nil {
			return nil, syntax(err)
		}
		end := d.InputOffset() // a value is good until the next read; the line is longer
		all = append(all, member{key, line[int(end)-len(value) : end]})
	}
	if _, err := d.ReadToken(); err != nil {
		return nil, syntax(err)
	}
	if len(bytes.TrimSpace(line[d.InputOffset():])) > 0 {
		return nil, reject("", "one entry is one JSON object", "something stands after the entry")
	}
	return all, nil
}

func syntax(err error) error {
	var s *jsontext.SyntacticError
	if errors.As(err, &s) {
		if errors.Is(err, jsontext.ErrDuplicateName) {
			return reject(string(s.JSONPointer.LastToken()), "name each field once", "the field is given twice")
		}
		return reject(string(s.JSONPointer.LastToken()), "write one JSON object an entry", "not valid JSON at byte %d: %v", s.ByteOffset, s.Err)
	}
	return reject("", "write one JSON object an entry", "not valid JSON: %v", err)
}

// Encode writes the entry as its canonical line, without the newline: the bytes that are
// stored, exported and hashed.
func Encode(e Entry) []byte {
	line := encodeUntilHash(e)
	if e.Hash == "" {
		return append(line, '}')
	}
	return append(append(append(line, `,"hash":"`...), e.Hash...), '"', '}')
}

// Content is what makes two tellings the same entry: all but what the book sets.
func Content(e Entry) string {
	e.Seq, e.Recorded, e.Prev, e.Hash = 0, time.Time{}, "", ""
	return string(Encode(e))
}

// Seal sets Seq, Recorded, Prev and Hash, chaining the entry to the one before.
func Seal(e Entry, seq uint64, recorded time.Time, prev string) Entry {
	e.Seq, e.Recorded, e.Prev, e.Hash = seq, recorded.UTC(), prev, ""
	sum := sha256.Sum256(encodeUntilHash(e))
	e.Hash = hex.EncodeToString(sum[:])
	return e
}

var hashMark = []byte(`,"hash":"`)

// CheckLine says whether a stored line carries its own hash and follows prev. It works on
// the bytes, so that it notices what a decoder would forgive.
func CheckLine(line []byte, prev string) error {
	i := bytes.LastIndex(line, hashMark)
	tail := i + len(hashMark)
	if i < 0 || len(line) != tail+64+2 || string(line[tail+64:]) != `"}` {
		return errors.New("the line does not end in its hash")
	}
	sum := sha256.Sum256(line[:i])
	if hex.EncodeToString(sum[:]) != string(line[tail:tail+64]) {
		return errors.New("the hash is not that of the line")
	}
	if !bytes.HasSuffix(line[:i], []byte(`,"prev":"`+prev+`"`)) {
		return errors.New("the line does not follow the one before")
	}
	return nil
}

// IsMachine says whether a start or stop came from a machine signal, whose id is
// PUMP/start/TIME or PUMP/stop/TIME: such an entry is never refused.
func (e Entry) IsMachine() bool {
	pump := e.pump()
	if pump == "" {
		return false
	}
	at, ok := strings.CutPrefix(e.ID, pump+"/"+e.Act.Kind()+"/")
	return ok && at != ""
}

// pump is the pump of a start or stop.
func (e Entry) pump() string {
	switch a := e.Act.(type) {
	case *StartAct:
		return a.Pump
	case *StopAct:
		return a.Pump
	}
	return ""
}

// MarshalJSON writes the canonical line.
func (e Entry) MarshalJSON() ([]byte, error) { return Encode(e), nil }

// UnmarshalJSON reads an entry as Decode does, or the draft of one: the record of an action
// may lack what only a person can tell, and that of a reminder that it is done is empty.
func (e *Entry) UnmarshalJSON(b []byte) error {
	members, err := membersOf(b)
	if err != nil || len(members) == 0 {
		*e = Entry{}
		return err
	}
	*e, _, err = fromMembers(members)
	return err
}
