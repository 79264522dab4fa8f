package notify

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Token is what a link in a reminder stands for: one reply to one reminder, for a while.
type Token struct {
	Key     Key // of the reminder it came with; its Channel is who answers
	Reply   Reply
	Expires time.Time // to the minute
}

// EntryID is the id of the entry that the token records, so that answering again, by
// whatever way, is the same entry. An undo gives the use back, under the next id: again
// counts from 0.
func (t Token) EntryID(again int) string {
	sum := sha256.Sum256([]byte(t.Key.ID() + " " + string(t.Reply)))
	id := "link-" + base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(sum[:16])
	if again > 0 {
		id += "-" + strconv.Itoa(again+1)
	}
	return id
}

// KeySize is the length of a Signer's key in bytes.
const KeySize = 32

// A Signer makes tokens that nobody else can make.
type Signer struct{ key []byte }

// NewSigner takes a secret key of KeySize random bytes.
func NewSigner(key []byte) (*Signer, error) {
	if len(key) != KeySize {
		return nil, errors.New("the key of the links has not 32 bytes")
	}
	return &Signer{slices.Clone(key)}, nil
}

// Name is the same for the same key, and tells nothing of it: 8 letters and digits.
func (s *Signer) Name() string {
	return strings.ToLower(base32.StdEncoding.EncodeToString(s.mac([]byte("name"))[:5]))
}

// A token's bytes: the version; the place of its reply; its last minute since 1970 and the
// reminder's count, as varints; stage, channel and action, each after its length; and the
// first half of an HMAC-SHA256 (RFC 2104, section 5) of all that.
const (
	tokenVersion = 1
	macSize      = 16
	maxToken     = 1200 // characters; an action's id has at most 400
)

var tokenText = base64.RawURLEncoding.Strict() // one text for each token

func (s *Signer) mac(payload []byte) []byte {
	h := hmac.New(sha256.New, s.key)
	h.Write(payload)
	return h.Sum(nil)[:macSize]
}

// Sign writes a token as letters, digits, - and _.
func (s *Signer) Sign(t Token) string {
	b := t.payload()
	return tokenText.EncodeToString(append(b, s.mac(b)...))
}

func (t Token) payload() []byte {
	b := []byte{tokenVersion, byte(slices.Index(replies, t.Reply))}
	b = binary.AppendUvarint(b, uint64(t.Expires.Unix()/60))
	b = binary.AppendVarint(b, int64(t.Key.Count))
	for _, text := range []string{string(t.Key.Stage), t.Key.Channel, t.Key.Action} {
		b = append(binary.AppendUvarint(b, uint64(len(text))), text...)
	}
	return b
}

// ErrForged says that a token was not made here, or not with this key, or was cut short.
var ErrForged = errors.New("the link was not made by this book, or was cut short on its way")

// Open reads a token that Sign has written; all else is ErrForged. Whether it has expired is
// for the caller to judge. How long it takes tells nothing of the right signature.
func (s *Signer) Open(text string) (Token, error) {
	if len(text) > maxToken {
		return Token{}, ErrForged
	}
	b, err := tokenText.DecodeString(text)
	if err != nil || len(b) < macSize || strings.ContainsAny(text, "\r\n") {
		return Token{}, ErrForged
	}
	payload, given := b[:len(b)-macSize], b[len(b)-macSize:]
	if !hmac.Equal(given, s.mac(payload)) {
		return Token{}, ErrForged
	}
	t, ok := readPayload(payload)
	if !ok {
		return Token{}, ErrForged
	}
	return t, nil
}

// readPayload takes a payload apart; false if it is none that payload makes.
func readPayload(b []byte) (t Token, ok bool) {
	if len(b) < 2 || b[0] != tokenVersion || int(b[1]) >= len(replies) {
		return t, false
	}
	t.Reply = replies[b[1]]
	rest := b[2:]
	minutes, n := binary.Uvarint(rest)
	if n <= 0 || minutes > 1<<40 {
		return t, false
	}
	rest = rest[n:]
	count, n := binary.Varint(rest)
	if n <= 0 {
		return t, false
	}
	rest = rest[n:]
	var texts [3]string
	for i := range texts {
		size, n := binary.Uvarint(rest)
		if n <= 0 || size > uint64(len(rest)-n) {
			return t, false
		}
		texts[i], rest = string(rest[n:n+int(size)]), rest[n+int(size):]
	}
	t.Expires = time.Unix(int64(minutes)*60, 0).UTC()
	t.Key = Key{Action: texts[2], Stage: Stage(texts[0]), Count: int(count), Channel: texts[1]}
	return t, len(rest) == 0
}
