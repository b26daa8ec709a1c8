package page

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"net"
	"net/http"
	"strings"
	"time"
)

// guard is what a request must satisfy before a page sees it.
//
// A page elsewhere on the web that a person at the bench has open can send requests to
// this machine, too. It can neither name another host in them (a name that leads to this
// machine, so-called DNS rebinding) nor come from another origin. Reference: W3C Fetch
// Metadata Request Headers; RFC 6454 (The Web Origin Concept), section 7.
type guard struct {
	loopback bool
	code     string // asked of whoever comes first; "" asks none
	token    string // what a browser that gave the code shows from then on
	requests *bucket
	changes  *bucket
	tries    *bucket
}

// cookieName is where a browser keeps its token.
const cookieName = "evenpole"

func newGuard(loopback bool, code string, now func() time.Time) *guard {
	return &guard{
		loopback: loopback, code: code, token: rand.Text(),
		requests: newBucket(now, requestsASec, requestsASec),
		changes:  newBucket(now, changesASec, changesASec),
		tries:    newBucket(now, triesAMinute/60., triesAMinute),
	}
}

// refusal is why a request is not served, for people, and its status.
type refusal struct {
	status int
	words  string
}

// refuses says why a request is not served; nil where it is.
func (g *guard) refuses(r *http.Request) *refusal {
	switch {
	case !g.requests.take():
		return &refusal{http.StatusTooManyRequests, "too many requests at once: wait a moment, then load the page again"}
	case !g.knowsHost(r.Host):
		return &refusal{http.StatusMisdirectedRequest, "this page is served by address, not under another name: use the address that was printed when it was started"}
	case !sameOrigin(r):
		return &refusal{http.StatusForbidden, "this request came from another page, and was not carried out"}
	case r.Method != http.MethodGet && r.Method != http.MethodHead && !g.changes.take():
		return &refusal{http.StatusTooManyRequests, "too many changes at once: wait a moment, then try again"}
	}
	return nil
}

// knowsHost reports whether a request names this machine as a browser at the bench
// would: by number, or as localhost. What has no number of its own cannot be rebound.
func (g *guard) knowsHost(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = strings.Trim(hostport, "[]")
	}
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && (ip.IsLoopback() || !g.loopback)
}

// sameOrigin reports whether a request comes from a page of ours, or, where it only
// asks for a page, from the person at the browser.
func sameOrigin(r *http.Request) bool {
	origin, site := r.Header.Get("Origin"), r.Header.Get("Sec-Fetch-Site")
	if origin != "" && origin != "http://"+r.Host {
		return false
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		return origin != "" || site == "same-origin"
	}
	switch site {
	case "", "same-origin", "none":
		return true
	}
	return r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
}

// admits reports whether a request shows the token, where one is asked for.
func (g *guard) admits(r *http.Request) bool {
	if g.code == "" {
		return true
	}
	c, err := r.Cookie(cookieName)
	return err == nil && same(c.Value, g.token)
}

// enter gives a browser that knows the code its token.
func (g *guard) enter(w http.ResponseWriter, code string) *refusal {
	if !g.tries.take() {
		return &refusal{http.StatusTooManyRequests, fmt.Sprintf("too many tries: wait %d seconds, then try again", 60/triesAMinute)}
	}
	if g.code == "" || !same(strings.ToUpper(strings.Join(strings.Fields(code), "")), g.code) {
		return &refusal{http.StatusForbidden, "that is not the access code: it was printed where the page was started"}
	}
	http.SetCookie(w, &http.Cookie{Name: cookieName, Value: g.token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	return nil
}

// same compares texts in a time that does not tell how much of them is the same.
func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// What a browser may do with what it is sent: pages run our own script files and no
// other; papers and pictures, which have their style inside, run none.
const (
	pagePolicy  = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
	paperPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox"
)

// setHeaders sets what holds for every answer. Another site is not told where a page is.
func setHeaders(h http.Header) {
	h.Set("Content-Security-Policy", pagePolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
}
