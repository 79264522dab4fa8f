package daemon

import (
	"crypto/subtle"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"

	"sumpbook/config"
)

// A guard lets in only those whom the page and the interface are for: the names it answers
// to (a foreign Host is a rebound name, a foreign Origin another site's page), and, from
// beyond this machine, the bearer of the token. A link of a reminder lets in to the one page
// it leads to, and nowhere else.
type guard struct {
	hosts map[string]bool // without port, lower case
	token string          // empty: nobody from beyond this machine
	links *linkDoor
	next  http.Handler
}

func newGuard(c config.Config, token string, links *linkDoor, next http.Handler) http.Handler {
	g := &guard{hosts: map[string]bool{"localhost": true, "127.0.0.1": true, "::1": true}, token: token, links: links, next: next}
	if host, _, err := net.SplitHostPort(c.Listen); err == nil && host != "" {
		g.hosts[strings.ToLower(host)] = true
	}
	if u, err := url.Parse(c.BaseURL); err == nil && u.Hostname() != "" {
		g.hosts[strings.ToLower(u.Hostname())] = true
	}
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		writeProblem(w, problem(http.StatusForbidden, "another site's page may not write here", "open the page of this book itself"))
	}))
	g.next = cross.Handler(next)
	return g
}

// secured sets the headers that every answer carries; a page has some of its own.
func secured(h http.Header) {
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Cache-Control", "no-store")
}

func (g *guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	secured(w.Header())
	switch {
	case !g.knows(r.Host):
		writeProblem(w, problem(http.StatusForbidden, fmt.Sprintf("this book does not answer to the name %q", r.Host), "set base_url to the address that phones use"))
	case !g.ownOrigin(r.Header.Get("Origin")):
		writeProblem(w, problem(http.StatusForbidden, "another site's page may not ask here", "open the page of this book itself"))
	case g.admits(r):
		g.next.ServeHTTP(w, r)
	case isLink(r.URL):
		g.links.serve(w, r, g.next)
	default:
		w.Header().Set("WWW-Authenticate", `Bearer realm="sumpbook"`)
		writeProblem(w, problem(http.StatusUnauthorized, "from beyond this machine a token is needed", "send Authorization: Bearer with the token in the data folder"))
	}
}

func (g *guard) knows(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	return g.hosts[strings.ToLower(strings.Trim(host, "[]"))]
}

func (g *guard) ownOrigin(origin string) bool {
	if origin == "" {
		return true
	}
	u, err := url.Parse(origin)
	return err == nil && u.Host != "" && g.knows(u.Host)
}

func (g *guard) admits(r *http.Request) bool {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if ip := net.ParseIP(host); err == nil && ip != nil && ip.IsLoopback() {
		return true
	}
	if isFeedPath(r) {
		return true // its secret is in the address, where its handler looks at it
	}
	given, isBearer := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	return isBearer && g.token != "" && subtle.ConstantTimeCompare([]byte(given), []byte(g.token)) == 1
}

// loopbackOnly says whether an address can be reached from this machine alone.
func loopbackOnly(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// shortestToken is how many characters a token has at least: 20 of base 32 are 100 bits.
const shortestToken = 20

// tokenIn reads the token of a data folder, making one if there is none.
func tokenIn(data string) (string, error) {
	path := filepath.Join(data, "token")
	token, err := readToken(path)
	if err == nil && token == "" {
		return makeToken(path)
	}
	return token, err
}
