package notify

import (
	"bytes"
	"encoding/base64"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func signer(t require.TestingT, fill byte) *Signer {
	s, err := NewSigner(bytes.Repeat([]byte{fill}, KeySize))
	require.NoError(t, err)
	return s
}

func drainToken() Token {
	return Token{Key: Key{"drain/north/north/stop/2026-11-24T12:00:00Z", Closing, 29_400_000, "phone"}, Reply: ReplyDone, Expires: after(48 * time.Hour)}
}

func TestKeyOfAnotherLengthIsRefused(t *testing.T) {
	for _, size := range []int{0, 16, 31, 33} {
		_, err := NewSigner(make([]byte, size))
		require.Error(t, err)
	}
}

// Law: a token is read back as it was written, stands in an address as it is, and changing
// any bit of it, or the key, makes it one that nobody wrote.
func TestLawTokens(t *testing.T) {
	text := rapid.StringN(0, 80, 200)
	rapid.Check(t, func(t *rapid.T) {
		s := signer(t, 1)
		want := Token{
			Key:   Key{text.Draw(t, "action"), Stage(text.Draw(t, "stage")), int(rapid.Int32().Draw(t, "count")), text.Draw(t, "channel")},
			Reply: rapid.SampledFrom(replies).Draw(t, "reply"), Expires: time.Unix(60*rapid.Int64Range(0, 1<<33).Draw(t, "minute"), 0).UTC(),
		}
		text := s.Sign(want)
		require.Regexp(t, `^[A-Za-z0-9_-]+$`, text)
		got, err := s.Open(text)
		require.NoError(t, err)
		require.Equal(t, want, got)
		_, err = signer(t, 2).Open(text)
		require.ErrorIs(t, err, ErrForged)

		raw, err := base64.RawURLEncoding.DecodeString(text)
		require.NoError(t, err)
		raw[rapid.IntRange(0, len(raw)-1).Draw(t, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		_, err = s.Open(base64.RawURLEncoding.EncodeToString(raw))
		require.ErrorIs(t, err, ErrForged)
	})
}

func TestBadTokens(t *testing.T) {
	s := signer(t, 1)
	good := s.Sign(drainToken())
	require.Less(t, len(good), 130, "short enough for a line of a letter and a small QR code")
	signed := func(payload []byte) string {
		return base64.RawURLEncoding.EncodeToString(append(payload, s.mac(payload)...))
	}
	whole := drainToken().payload()
	future := append([]byte{2}, whole[1:]...)
	unknown := append([]byte{1, 99}, whole[2:]...)
	for name, text := range map[string]string{
		"Nothing": "", "Short": "AAAA", "OnlyAMac": signed(nil), "Cut": good[:len(good)-1], "Longer": good + "A", "Twice": good + good,
		"Padded": good + "=", "LineEnd": good[:20] + "\n" + good[20:], "Blank": good + " ", "OtherAlphabet": "+/" + good[2:], "Slash": good + "/",
		"Lower": strings.ToLower(good), "NotText": "\xff\xfe", "VeryLong": strings.Repeat("A", 1<<20), "OtherKey": signer(t, 3).Sign(drainToken()),
		"OtherVersion": signed(future), "OtherReply": signed(unknown), "More": signed(append(append([]byte{}, whole...), 0)), "Less": signed(whole[:len(whole)-1]),
		"NoCount": signed(whole[:5]), "LengthBeyond": signed([]byte{1, 0, 1, 0, 200}), "EndlessNumber": signed(append([]byte{1, 0}, bytes.Repeat([]byte{0xff}, 20)...)),
		"Never": signed(append([]byte{1, 0}, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f, 0, 0, 0, 0)),
	} {
		t.Run(name, func(t *testing.T) {
			_, err := s.Open(text)
			require.ErrorIs(t, err, ErrForged)
		})
	}
	// The last letter of a token carries bits that say nothing: one spelling of them is good.
	spellings := 0
	for _, last := range "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_" {
		if _, err := s.Open(good[:len(good)-1] + string(last)); err == nil {
			spellings++
		}
	}
	require.Equal(t, 1, spellings)
}

func FuzzOpen(f *testing.F) {
	f.Add(signer(f, 1).Sign(drainToken()), []byte{})
	f.Add("", drainToken().payload())
	f.Add("AAAA", []byte{1, 0, 1, 0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, text string, payload []byte) {
		s := signer(t, 1)
		if got, err := s.Open(text); err == nil {
			require.Equal(t, text, s.Sign(got), "whatever opens is what was signed")
		}
		got, ok := readPayload(payload)
		if ok {
			again, ok := readPayload(got.payload())
			require.True(t, ok)
			require.Equal(t, got, again)
		}
	})
}

func TestOneEntryAReplyToAReminder(t *testing.T) {
	token := drainToken()
	id := token.EntryID(0)
	require.Regexp(t, `^link-[A-Z2-7]{26}$`, id)
	later := token
	later.Expires = after(math.MaxInt16 * time.Minute)
	require.Equal(t, id, later.EntryID(0), "the same reminder, sent again, asks for the same entry")
	require.Equal(t, id+"-2", token.EntryID(1))
	seen := map[string]bool{id: true}
	for _, change := range []func(*Token){
		func(t *Token) { t.Reply = ReplyHour }, func(t *Token) { t.Key.Channel = "mail" }, func(t *Token) { t.Key.Count++ },
		func(t *Token) { t.Key.Stage = Opened }, func(t *Token) { t.Key.Action += "x" },
	} {
		other := drainToken()
		change(&other)
		require.False(t, seen[other.EntryID(0)])
		seen[other.EntryID(0)] = true
	}
	require.Regexp(t, `^[a-z2-7]{8}$`, signer(t, 1).Name())
	require.NotEqual(t, signer(t, 1).Name(), signer(t, 2).Name())
}
