package main

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Every way by which another page or program might come in is refused; the page itself passes.
func TestGuard(t *testing.T) {
	reached := 0
	g := newGuard(4711, "", http.HandlerFunc(func(http.ResponseWriter, *http.Request) { reached++ }))
	with := "catchlight-4711=" + g.session
	const own, fwd = "127.0.0.1:4711", "localhost:9000" // fwd: a forwarded port
	for _, c := range []struct {
		name, method, host, path, cookie string
		header                           []string // pairs
		pass                             bool
	}{
		{"the page", "GET", own, "/state", with, []string{"Sec-Fetch-Site", "same-origin"}, true},
		{"the page sets", "POST", own, "/set", with, []string{"Sec-Fetch-Site", "same-origin", "Origin", "http://127.0.0.1:4711"}, true},
		{"over a forwarded port", "POST", fwd, "/set", with, []string{"Sec-Fetch-Site", "same-origin", "Origin", "http://localhost:9000"}, true},
		{"typed address", "GET", own, "/", with, []string{"Sec-Fetch-Site", "none"}, true},
		{"no cookie", "GET", own, "/state", "", nil, false},
		{"a guessed cookie", "GET", own, "/state", "catchlight-4711=A", nil, false},
		{"the token as a cookie", "GET", own, "/state", "catchlight-4711=" + g.token, nil, false},
		{"the cookie of another start", "GET", own, "/state", "catchlight-4712=" + g.session, nil, false},
		{"a name made to point here", "GET", "tide.example:4711", "/state", with, nil, false},
		{"such a name with its own origin", "POST", "tide.example", "/set", with, []string{"Origin", "http://tide.example"}, false},
		{"a longer name", "GET", "localhost.tide.example", "/state", with, nil, false},
		{"another page sets", "POST", own, "/set", with, []string{"Sec-Fetch-Site", "cross-site", "Origin", "https://tide.example"}, false},
		{"a page of another port sets", "POST", own, "/set", with, []string{"Sec-Fetch-Site", "same-site", "Origin", "http://127.0.0.1:8000"}, false},
		{"an old browser on another page", "POST", own, "/set", with, []string{"Origin", "https://tide.example"}, false},
		{"a page without an origin", "POST", own, "/set", with, []string{"Origin", "null"}, false},
		{"another page reads as a picture", "GET", own, "/snapshot/1.png", with, []string{"Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors"}, false},
		{"a page of another port reads as a script", "GET", own, "/state", with, []string{"Sec-Fetch-Site", "same-site", "Sec-Fetch-Mode", "no-cors"}, false},
		{"another page links to a part", "GET", own, "/frames", with, []string{"Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate"}, false},
		{"a typed address can't set", "POST", own, "/set", with, []string{"Sec-Fetch-Site", "none"}, false},
	} {
		r := httptest.NewRequest(c.method, "http://"+c.host+c.path, nil)
		if c.cookie != "" {
			r.Header.Set("Cookie", c.cookie)
		}
		for i := 0; i < len(c.header); i += 2 {
			r.Header.Set(c.header[i], c.header[i+1])
		}
		before, w := reached, httptest.NewRecorder()
		g.ServeHTTP(w, r)
		require.Equal(t, c.pass, reached > before, c.name)
		require.Equal(t, c.pass, w.Code == http.StatusOK, c.name)
		require.Equal(t, policy, w.Header().Get("Content-Security-Policy"), c.name)
		require.Empty(t, w.Header().Get("Access-Control-Allow-Origin"), c.name)
	}
	named := newGuard(4711, "Lookdev.Example", http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	require.True(t, named.known("lookdev.example:443"))
	require.False(t, named.known("lookdev.example.org"))
}

// The address with the token sets a strict cookie that scripts can't read; any other token, or way to ask, does not.
func TestGuardKey(t *testing.T) {
	g := newGuard(4711, "", http.NotFoundHandler())
	require.GreaterOrEqual(t, len(g.token), 26, "128 bits at 5 bits a letter")
	require.NotEqual(t, g.token, g.session)
	ask := func(method, path string, header ...string) *httptest.ResponseRecorder {
		r, w := httptest.NewRequest(method, "http://127.0.0.1:4711"+path, nil), httptest.NewRecorder()
		for i := 0; i < len(header); i += 2 {
			r.Header.Set(header[i], header[i+1])
		}
		g.ServeHTTP(w, r)
		return w
	}
	w := ask("GET", "/?key="+g.token)
	require.Equal(t, http.StatusSeeOther, w.Code)
	require.Equal(t, "/", w.Header().Get("Location"))
	cookie := w.Header().Get("Set-Cookie")
	require.Contains(t, cookie, "catchlight-4711="+g.session)
	require.Contains(t, cookie, "HttpOnly")
	require.Contains(t, cookie, "SameSite=Strict")
	// From a link on another page the cookie would be kept back along a redirect.
	w = ask("GET", "/?key="+g.token, "Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate")
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), `http-equiv="refresh"`)
	for _, c := range [][]string{{"GET", "/?key="}, {"GET", "/?key=" + strings.ToLower(g.token)}, {"GET", "/?key=" + g.session}, {"POST", "/?key=" + g.token},
		{"GET", "/state?key=" + g.token}} {
		w := ask(c[0], c[1])
		require.Equal(t, http.StatusForbidden, w.Code, c)
		require.Empty(t, w.Header().Get("Set-Cookie"), c)
	}
}
