package notify

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"github.com/stretchr/testify/require"
)

func b64(t require.TestingT, text string) []byte {
	b, err := base64.RawURLEncoding.DecodeString(text)
	require.NoError(t, err)
	return b
}

// decrypted reads a pushed body as a browser does (RFC 8291, section 3.4; RFC 8188): its own
// code, and standard library alone.
func decrypted(body []byte, private *ecdh.PrivateKey, auth []byte) ([]byte, error) {
	if len(body) < 21 || len(body) < 21+int(body[20]) {
		return nil, errors.New("no header")
	}
	salt, size, key, record := body[:16], binary.BigEndian.Uint32(body[16:20]), body[21:21+body[20]], body[21+int(body[20]):]
	if len(record) > int(size) {
		return nil, errors.New("more than one record")
	}
	sender, err := ecdh.P256().NewPublicKey(key)
	if err != nil {
		return nil, err
	}
	shared, err := private.ECDH(sender)
	if err != nil {
		return nil, err
	}
	info := "WebPush: info\x00" + string(private.PublicKey().Bytes()) + string(key)
	ikm, err1 := hkdf.Key(sha256.New, shared, auth, info, 32)
	cek, err2 := hkdf.Key(sha256.New, ikm, salt, "Content-Encoding: aes128gcm\x00", 16)
	nonce, err3 := hkdf.Key(sha256.New, ikm, salt, "Content-Encoding: nonce\x00", 12)
	block, err4 := aes.NewCipher(cek)
	if err := errors.Join(err1, err2, err3, err4); err != nil {
		return nil, err
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		return nil, err
	}
	plain, err := gcm.Open(nil, nonce, record, nil)
	if err != nil {
		return nil, err
	}
	text := strings.TrimRight(string(plain), "\x00")
	if !strings.HasSuffix(text, "\x02") {
		return nil, errors.New("the last record has no end mark")
	}
	return []byte(text[:len(text)-1]), nil
}

// A browser is the phone's end: keys of its own, and what the push service was given for it.
type browser struct {
	private *ecdh.PrivateKey
	auth    []byte
}

func newBrowser(t *testing.T) browser {
	t.Helper()
	b := browser{auth: make([]byte, 16)}
	var err error
	b.private, err = ecdh.P256().GenerateKey(rand.Reader)
	require.NoError(t, err)
	_, _ = rand.Read(b.auth)
	return b
}

func (b browser) phone(endpoint string) Phone {
	encode := base64.RawURLEncoding.EncodeToString
	return Phone{Endpoint: endpoint, P256dh: encode(b.private.PublicKey().Bytes()), Auth: encode(b.auth)}
}

// A pushService is the other end: it takes what is pushed, and answers as it is told.
type pushService struct {
	*httptest.Server
	answer func(w http.ResponseWriter, r *http.Request)

	mu     sync.Mutex
	pushed []pushedTo
}

type pushedTo struct {
	path   string
	header http.Header
	body   []byte
	proto  string
}

func openPushService(t *testing.T, answer func(http.ResponseWriter, *http.Request)) *pushService {
	t.Helper()
	s := &pushService{answer: answer}
	s.Server = httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		s.mu.Lock()
		s.pushed = append(s.pushed, pushedTo{r.URL.Path, r.Header, body, r.Proto})
		s.mu.Unlock()
		if s.answer != nil {
			s.answer(w, r)
			return
		}
		w.WriteHeader(http.StatusCreated)
	}))
	s.Config.ErrorLog = quietLog()
	s.EnableHTTP2 = true
	s.StartTLS()
	t.Cleanup(s.Close)
	return s
}

func (s *pushService) all() []pushedTo {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]pushedTo(nil), s.pushed...)
}

func (s *pushService) roots() *x509.CertPool {
	pool := x509.NewCertPool()
	pool.AddCert(s.Certificate())
	return pool
}

// A drawer keeps phones for a test.
type drawer struct {
	keys PushKeys
	err  error

	mu     sync.Mutex
	phones []Phone
}

func (d *drawer) Keys() (PushKeys, error) { return d.keys, d.err }

func (d *drawer) Phones(channel string) ([]Phone, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if channel != "phones" {
		return nil, errors.New("another channel")
	}
	return append([]Phone(nil), d.phones...), d.err
}

func (d *drawer) Remove(_, endpoint string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	var left []Phone
	for _, p := range d.phones {
		if p.Endpoint != endpoint {
			left = append(left, p)
		}
	}
	d.phones = left
	return nil
}

// requireVAPID checks the signature of RFC 8292 as a push service does: with the key that is
// sent along, which must be ours.
func requireVAPID(t *testing.T, authorization, audience, public, subject string) {
	t.Helper()
	parts := strings.Split(strings.TrimPrefix(authorization, "vapid "), ", ")
	require.Len(t, parts, 2)
	require.Equal(t, "k="+public, parts[1])
	point := b64(t, public)
	key, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), point)
	require.NoError(t, err)
	claims := jwt.RegisteredClaims{}
	_, err = jwt.ParseWithClaims(strings.TrimPrefix(parts[0], "t="), &claims, func(*jwt.Token) (any, error) { return key, nil },
		jwt.WithValidMethods([]string{"ES256"}), jwt.WithAudience(audience), jwt.WithSubject(subject), jwt.WithExpirationRequired())
	require.NoError(t, err)
	require.Less(t, time.Until(claims.ExpiresAt.Time), 24*time.Hour, "section 2: at most a day")
}
