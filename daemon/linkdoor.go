package daemon

import (
	"hash/maphash"
	"net"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"sync"
	"time"
)

// Bounds of the links that are no good, from one address, before it is made to wait. They
// are rules of this project: 2^128 signatures cannot be tried out at any rate, so this
// spares the machine and the log.
const (
	badLinks    = 20
	badLinksFor = time.Minute
	doorSlots   = 1024 // addresses that share a slot share its count
)

// A linkDoor lets in from beyond this machine whoever has a link, and makes wait whoever
// brings bad ones. Its memory is fixed, whoever knocks.
type linkDoor struct {
	opens func(token string) bool
	clock func() time.Time
	seed  maphash.Seed

	mu    sync.Mutex
	slots [doorSlots]struct {
		since time.Time
		bad   int
	}
}

func (k *Keeper) doorFor() *linkDoor {
	return &linkDoor{clock: k.clock, seed: maphash.MakeSeed(), opens: func(token string) bool {
		_, err := k.signer.Open(token)
		return err == nil
	}}
}

// linkPath is that of a link's page, or of the style below it.
var linkPath = regexp.MustCompile(`^/a/([A-Za-z0-9_-]+)(/style\.css)?$`)

func isLink(u *url.URL) bool { return u.RawPath == "" && linkPath.MatchString(u.Path) }

// serve leads to the page, which says itself why a link is no good.
func (d *linkDoor) serve(w http.ResponseWriter, r *http.Request, page http.Handler) {
	parts := linkPath.FindStringSubmatch(r.URL.Path)
	if d.opens(parts[1]) { // whoever else knocks from there
		page.ServeHTTP(w, r)
		return
	}
	if wait := d.waits(r.RemoteAddr); wait > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(int(wait/time.Second)+1))
		writeProblem(w, problem(http.StatusTooManyRequests, "too many links from this address were not of this book", "open the newest reminder's link in a minute"))
		return
	}
	d.failed(r.RemoteAddr)
	page.ServeHTTP(w, r)
}

// slot is where an address is counted: all of a network of IPv6 together, of which one
// machine may have any address.
func (d *linkDoor) slot(remote string) int {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		host = remote
	}
	if ip := net.ParseIP(host); ip != nil && ip.To4() == nil {
		host = ip.Mask(net.CIDRMask(64, 128)).String()
	}
	return int(maphash.String(d.seed, host) % doorSlots)
}

// waits is how long an address has to wait.
func (d *linkDoor) waits(remote string) time.Duration {
	d.mu.Lock()
	defer d.mu.Unlock()
	s := &d.slots[d.slot(remote)]
	past := d.clock().Sub(s.since).Abs() // a clock set back makes nobody wait for years
	if s.bad < badLinks || past >= badLinksFor {
		return 0
	}
	return badLinksFor - past
}

func (d *linkDoor) failed(remote string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	s := &d.slots[d.slot(remote)]
	if now := d.clock(); now.Sub(s.since).Abs() >= badLinksFor {
		s.since, s.bad = now, 0
	}
	s.bad++
}
