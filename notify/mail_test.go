package notify

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"fmt"
	"io"
	"log"
	"math/big"
	"mime/quotedprintable"
	"net"
	netmail "net/mail"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func quietLog() *log.Logger { return log.New(io.Discard, "", 0) }

// certificate signs itself, for 127.0.0.1.
func certificate(t *testing.T, until time.Time) (tls.Certificate, *x509.CertPool) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-48 * time.Hour), NotAfter: until,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(t, err)
	leaf, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	pool := x509.NewCertPool()
	pool.AddCert(leaf)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

// A postOffice is a small mail server (RFC 5321, with STARTTLS and AUTH PLAIN).
type postOffice struct {
	address  string
	secure   *tls.Config       // nil: STARTTLS is not offered
	implicit bool              // TLS from the first byte
	login    string            // user and password it asks for
	answers  map[string]string // to the beginnings of commands, in place of the usual ones
	hangUp   string            // the command after which it hangs up without a word

	mu      sync.Mutex
	letters []letter
	talked  []string // commands, in capitals
}

type letter struct {
	from   string
	to     []string
	data   string
	secure bool
}

func openPostOffice(t *testing.T, p *postOffice) *postOffice {
	p.address = faulty(t, func(c net.Conn) {
		if p.implicit {
			c = tls.Server(c, p.secure)
		}
		(&clerk{office: p, conn: c, secure: p.implicit}).serve()
	})
	return p
}

type clerk struct {
	office *postOffice
	conn   net.Conn
	lines  *bufio.Reader
	secure bool
	letter letter
}

func (c *clerk) serve() {
	c.lines = bufio.NewReader(c.conn)
	c.say(c.usual("CONNECT", "220 post office"))
	for {
		line, err := c.lines.ReadString('\n')
		if err != nil {
			return
		}
		if !c.obey(strings.TrimRight(line, "\r\n")) {
			return
		}
	}
}

func (c *clerk) say(text string) { fmt.Fprintf(c.conn, "%s\r\n", text) }

// usual is the answer to a command, unless the test wants another.
func (c *clerk) usual(command, answer string) string {
	for begin, other := range c.office.answers {
		if strings.HasPrefix(command, begin) {
			return other
		}
	}
	return answer
}

func (c *clerk) obey(line string) bool {
	verb, rest, _ := strings.Cut(line, " ")
	verb = strings.ToUpper(verb)
	c.office.mu.Lock()
	c.office.talked = append(c.office.talked, verb)
	c.office.mu.Unlock()
	if verb == c.office.hangUp {
		return false
	}
	answer := c.usual(line, "250 fine")
	switch {
	case !strings.HasPrefix(answer, "250 fine"):
	case verb == "EHLO":
		answer = c.offers()
	case verb == "STARTTLS":
		c.say("220 go on")
		c.conn = tls.Server(c.conn, c.office.secure)
		c.lines, c.secure = bufio.NewReader(c.conn), true
		return true
	case verb == "AUTH":
		answer = c.auth(rest)
	case verb == "MAIL":
		c.letter = letter{from: rest, secure: c.secure}
	case verb == "RCPT":
		c.letter.to = append(c.letter.to, rest)
	case verb == "DATA":
		answer = c.take()
	case verb == "QUIT":
		c.say("221 bye")
		return false
	}
	c.say(answer)
	return true
}

func (c *clerk) offers() string {
	lines := []string{"250-post office"}
	if c.office.secure != nil && !c.secure {
		lines = append(lines, "250-STARTTLS")
	}
	if c.office.login != "" && c.secure {
		lines = append(lines, "250-AUTH PLAIN")
	}
	return strings.Join(append(lines, "250 SMTPUTF8"), "\r\n")
}

func (c *clerk) auth(rest string) string {
	_, token, _ := strings.Cut(rest, " ")
	plain, _ := base64.StdEncoding.DecodeString(token)
	if string(plain) != "\x00"+c.office.login {
		return "535 5.7.8 no: " + token
	}
	return "235 welcome"
}

func (c *clerk) take() string {
	c.say("354 go ahead")
	for {
		line, err := c.lines.ReadString('\n')
		if err != nil {
			return "451 cut off"
		}
		if line == ".\r\n" {
			break
		}
		c.letter.data += strings.TrimPrefix(line, ".")
	}
	c.office.mu.Lock()
	defer c.office.mu.Unlock()
	c.office.letters = append(c.office.letters, c.letter)
	return c.usual("END", "250 2.0.0 queued as 7F3A")
}

func (p *postOffice) server(t *testing.T) MailServer {
	host, port, err := net.SplitHostPort(p.address)
	require.NoError(t, err)
	number, err := strconv.Atoi(port)
	require.NoError(t, err)
	return MailServer{Host: host, Port: number, From: "Pump <pump@example.org>", To: []string{"me@example.org"}}
}

func newMail(t *testing.T, s MailServer) *Mail {
	m, err := NewMail("mail", s)
	require.NoError(t, err)
	return m
}

func TestMailInTheClearOnLoopback(t *testing.T) {
	p := openPostOffice(t, &postOffice{})
	said, err := newMail(t, p.server(t)).Send(context.Background(), drainMessage(noon))
	require.NoError(t, err)
	require.Equal(t, "2.0.0 queued as 7F3A", said)
	require.Len(t, p.letters, 1)
	require.Equal(t, "FROM:<pump@example.org>", p.letters[0].from)
	require.Equal(t, []string{"TO:<me@example.org>"}, p.letters[0].to)
}

func TestMailHeaders(t *testing.T) {
	p := openPostOffice(t, &postOffice{})
	m := drainMessage(noon)
	m.Subject = "Drain north – now\r\nBcc: all@example.org"
	m.Text += "Grüße aus Zürich: 40 °C.\n.\nA dot alone.\n"
	mail := newMail(t, p.server(t))
	for range 2 {
		_, err := mail.Send(context.Background(), m)
		require.NoError(t, err)
	}
	require.Len(t, p.letters, 2)
	var ids []string
	for _, l := range p.letters {
		got, err := netmail.ReadMessage(strings.NewReader(l.data))
		require.NoError(t, err)
		ids = append(ids, got.Header.Get("Message-ID"))
		require.Empty(t, got.Header.Get("Bcc"))
		require.Empty(t, got.Header.Get("X-Mailer")+got.Header.Get("User-Agent"))
		require.Equal(t, "auto-generated", got.Header.Get("Auto-Submitted"))
		require.Equal(t, "text/plain; charset=UTF-8", got.Header.Get("Content-Type"))
		date, err := got.Header.Date()
		require.NoError(t, err)
		require.True(t, noon.Equal(date))
		body, err := io.ReadAll(quotedprintable.NewReader(got.Body))
		require.NoError(t, err)
		require.Equal(t, m.Text, strings.ReplaceAll(string(body), "\r\n", "\n"))
	}
	require.Equal(t, []string{"<" + m.ID + "@example.org>", "<" + m.ID + "@example.org>"}, ids)
}

func TestMailBySTARTTLSWithLogin(t *testing.T) {
	cert, pool := certificate(t, time.Now().Add(time.Hour))
	p := openPostOffice(t, &postOffice{secure: &tls.Config{Certificates: []tls.Certificate{cert}}, login: "pump\x00hunter2"})
	s := p.server(t)
	s.Username, s.Password, s.Roots = "pump", "hunter2", pool
	_, err := newMail(t, s).Send(context.Background(), drainMessage(noon))
	require.NoError(t, err)
	require.True(t, p.letters[0].secure)

	s.Password = "wrong-pass"
	_, err = newMail(t, s).Send(context.Background(), drainMessage(noon))
	require.ErrorIs(t, err, ErrPermanent)
	require.ErrorContains(t, err, "535")
	require.NotContains(t, err.Error(), "wrong-pass")
	require.NotContains(t, err.Error(), base64.StdEncoding.EncodeToString([]byte("\x00pump\x00wrong-pass")))
}

func TestMailByImplicitTLS(t *testing.T) {
	cert, pool := certificate(t, time.Now().Add(time.Hour))
	p := openPostOffice(t, &postOffice{secure: &tls.Config{Certificates: []tls.Certificate{cert}}, implicit: true, login: "pump\x00hunter2"})
	s := p.server(t)
	s.Username, s.Password, s.Roots, s.Security = "pump", "hunter2", pool, ImplicitTLS
	_, err := newMail(t, s).Send(context.Background(), drainMessage(noon))
	require.NoError(t, err)
	require.True(t, p.letters[0].secure)
	require.NotContains(t, p.talked, "STARTTLS")
}

func TestMailNeverAcceptsBadTLS(t *testing.T) {
	good, pool := certificate(t, time.Now().Add(time.Hour))
	stale, stalePool := certificate(t, time.Now().Add(-time.Hour))
	for name, c := range map[string]struct {
		cert     tls.Certificate
		roots    *x509.CertPool
		security Security
	}{
		"unknown signer":                {good, x509.NewCertPool(), StartTLS},
		"unknown signer, opportunistic": {good, x509.NewCertPool(), Opportunistic},
		"out of date":                   {stale, stalePool, StartTLS},
		"another name":                  {good, pool, StartTLS},
	} {
		p := openPostOffice(t, &postOffice{secure: &tls.Config{Certificates: []tls.Certificate{c.cert}}})
		s := p.server(t)
		s.Roots, s.Security = c.roots, c.security
		if name == "another name" {
			s.Host = "localhost"
		}
		_, err := newMail(t, s).Send(context.Background(), drainMessage(noon))
		require.ErrorContains(t, err, "x509", name)
		require.NotErrorIs(t, err, ErrPermanent)
		require.Empty(t, p.letters)
	}
}

func TestMailWithoutTheWantedSecurityIsNotSent(t *testing.T) {
	p := openPostOffice(t, &postOffice{})
	s := p.server(t)
	s.Security = StartTLS
	_, err := newMail(t, s).Send(context.Background(), drainMessage(noon))
	require.ErrorContains(t, err, "STARTTLS")
	require.NotContains(t, p.talked, "MAIL")
}

func TestMailAnswers(t *testing.T) {
	for name, c := range map[string]struct {
		command, answer string
		permanent       bool
	}{
		"no service":         {"CONNECT", "554 5.3.2 closed", true},
		"busy":               {"CONNECT", "421 4.3.2 later", false},
		"sender refused":     {"MAIL", "550 5.7.1 no", true},
		"sender delayed":     {"MAIL", "451 4.7.1 later", false},
		"reader unknown":     {"RCPT", "550 5.1.1 no such person", true},
		"reader greylisted":  {"RCPT", "450 4.2.0 come again", false},
		"no letters today":   {"DATA", "451 4.3.0 no", false},
		"letter refused":     {"END", "552 5.2.2 too full", true},
		"letter put off":     {"END", "452 4.3.1 no space", false},
		"a nonsense answer ": {"MAIL", "oil and water", false},
	} {
		t.Run(name, func(t *testing.T) {
			p := openPostOffice(t, &postOffice{answers: map[string]string{c.command: c.answer}})
			_, err := newMail(t, p.server(t)).Send(context.Background(), drainMessage(noon))
			require.Error(t, err)
			require.Contains(t, err.Error(), "mail by 127.0.0.1")
			if c.permanent {
				require.ErrorIs(t, err, ErrPermanent)
			} else {
				require.NotErrorIs(t, err, ErrPermanent)
			}
		})
	}
}

func TestMailToSeveralReaders(t *testing.T) {
	for name, c := range map[string]struct {
		answers map[string]string
		letters int
		says    string
	}{
		"one is unknown":    {map[string]string{"RCPT TO:<b@": "550 no such person"}, 1, "not to <b@example.org>: 550 no such person"},
		"one is greylisted": {map[string]string{"RCPT TO:<b@": "450 later"}, 0, "450 later"},
		"none is known":     {map[string]string{"RCPT": "550 no such person"}, 0, "550 no such person"},
	} {
		p := openPostOffice(t, &postOffice{answers: c.answers})
		s := p.server(t)
		s.To = []string{"a@example.org", "b@example.org", "c@example.org"}
		said, err := newMail(t, s).Send(context.Background(), drainMessage(noon))
		require.Len(t, p.letters, c.letters, name)
		require.Contains(t, said+fmt.Sprint(err), c.says, name)
	}
}

func TestMailThatWasTakenIsDelivered(t *testing.T) {
	p := openPostOffice(t, &postOffice{hangUp: "QUIT"})
	_, err := newMail(t, p.server(t)).Send(context.Background(), drainMessage(noon))
	require.NoError(t, err)
}

func TestMailEndsWithinItsTimeout(t *testing.T) {
	const soon, late = 300 * time.Millisecond, 15 * time.Second // late only bounds a failing test
	for name, c := range map[string]struct {
		treat   func(net.Conn)
		timeout time.Duration
		want    string
	}{
		"resets":             {reset, late, "mail by"},
		"hangs after accept": {hang, soon, "deadline exceeded"},
		"hangs in an answer": {func(c net.Conn) { io.WriteString(c, "220 post"); hang(c) }, soon, "deadline exceeded"},
		"a line of 10 GiB":   {func(c net.Conn) { talk(c, "220 ", "oil ") }, late, "talks without end"},
		"endless lines":      {func(c net.Conn) { talk(c, "220-\r\n", "220-oil\r\n") }, late, "talks without end"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := &postOffice{address: faulty(t, c.treat)}
			ctx, cancel := context.WithTimeout(context.Background(), c.timeout)
			defer cancel()
			began := time.Now()
			_, err := newMail(t, p.server(t)).Send(ctx, drainMessage(noon))
			require.ErrorContains(t, err, c.want)
			require.NotErrorIs(t, err, ErrPermanent)
			require.Less(t, time.Since(began), late)
		})
	}
}

func TestMailConfiguration(t *testing.T) {
	good := MailServer{Host: "mail.example.org", Port: 587, From: "pump@example.org", To: []string{"me@example.org"}}
	require.Equal(t, StartTLS, newMail(t, good).server.Security)
	for want, change := range map[string]func(*MailServer){
		"from is not a mail address": func(s *MailServer) { s.From = "pump" },
		"is not a mail address":      func(s *MailServer) { s.To = []string{"me@example.org\r\nRCPT TO:<x@y>"} },
		"to names nobody":            func(s *MailServer) { s.To = nil },
		"needs security starttls":    func(s *MailServer) { s.Password, s.Security = "hunter2", NoSecurity },
		"is not starttls, tls":       func(s *MailServer) { s.Security = "maybe" },
	} {
		s := good
		change(&s)
		_, err := NewMail("mail", s)
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), "hunter2")
	}
}
