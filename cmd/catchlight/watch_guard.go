package main

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
)

// guard lets only the page of one start of `watch` through. The address is a loopback one, but every page in the browser and
// every program of the machine can reach it, so a request needs all of these:
//
//   - a Host that is this machine's own name (any port, as ports may be forwarded) or the one that --host names: a foreign name
//     that was made to point here is refused;
//   - a cookie that only the address with the token sets;
//   - where it says where it comes from, that this is the page itself (Origin, Sec-Fetch-Site).
type guard struct {
	token   string // in the address that is printed, 128 bits or more
	session string // in the cookie
	cookie  string // its name; cookies know no ports, so it holds the server's
	names   []string
	next    http.Handler
	cross   *http.CrossOriginProtection
}

// newGuard guards next, which a server at that port serves. host is one more name that is allowed, or "".
func newGuard(port int, host string, next http.Handler) *guard {
	g := &guard{token: rand.Text(), session: rand.Text(), cookie: fmt.Sprintf("catchlight-%d", port), next: next,
		names: []string{"127.0.0.1", "localhost", "::1"}, cross: http.NewCrossOriginProtection()}
	if host != "" {
		g.names = append(g.names, strings.ToLower(host))
	}
	return g
}

// policy lets the page load what the server itself sends and nothing else.
const policy = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// ServeHTTP implements http.Handler.
func (g *guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	if !g.known(r.Host) {
		refuse(w, http.StatusForbidden, "this name is not the server's own; open the address that was printed")
		return
	}
	if o := r.Header.Get("Origin"); o != "" && !sameOrigin(o, r.Host) {
		refuse(w, http.StatusForbidden, "the request comes from another page")
		return
	}
	site := r.Header.Get("Sec-Fetch-Site")
	arrives := r.Method == http.MethodGet && r.URL.Path == "/" && r.Header.Get("Sec-Fetch-Mode") == "navigate"
	if site != "" && site != "same-origin" && !(site == "none" && r.Method == http.MethodGet) && !arrives {
		refuse(w, http.StatusForbidden, "the request comes from another page")
		return
	}
	if err := g.cross.Check(r); err != nil {
		refuse(w, http.StatusForbidden, "the request comes from another page")
		return
	}
	if r.URL.Path == "/" && r.URL.Query().Has("key") {
		g.enter(w, r, site)
		return
	}
	if c, err := r.Cookie(g.cookie); err != nil || !equal(c.Value, g.session) {
		refuse(w, http.StatusForbidden, "open the address that was printed: it has the key")
		return
	}
	g.next.ServeHTTP(w, r)
}

// enter sets the cookie for a request with the token.
func (g *guard) enter(w http.ResponseWriter, r *http.Request, site string) {
	if r.Method != http.MethodGet || !equal(r.URL.Query().Get("key"), g.token) {
		refuse(w, http.StatusForbidden, "this key is not the one that was printed; each start has another")
		return
	}
	http.SetCookie(w, &http.Cookie{Name: g.cookie, Value: g.session, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	if site == "cross-site" || site == "same-site" {
		// A link on another page brought us here. The browser keeps a strict cookie back for as long as that page leads, through
		// redirects too, so a page of our own has to lead on.
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		fmt.Fprint(w, `<!doctype html><title>catchlight</title><meta http-equiv="refresh" content="0;url=/"><a href="/">Open</a>`)
		return
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// known reports whether a Host header names this server.
func (g *guard) known(host string) bool {
	name := host
	if n, _, err := net.SplitHostPort(host); err == nil {
		name = n
	}
	return slices.Contains(g.names, strings.ToLower(strings.Trim(name, "[]")))
}

// sameOrigin reports whether an Origin header is that of the page at a host. Behind --host there may be TLS.
func sameOrigin(origin, host string) bool {
	u, err := url.Parse(origin)
	return err == nil && (u.Scheme == "http" || u.Scheme == "https") && strings.EqualFold(u.Host, host)
}

func equal(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }
