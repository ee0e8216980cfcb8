package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	page "catchlight/cmd/catchlight/live"
	"catchlight/scene"
)

// live serves the page of one scene.
type live struct {
	path string // of the scene
}

// problem is how a request that fails is answered.
type problem struct {
	Problem string `json:"problem"`
	Key     string `json:"key,omitempty"`
	Range   string `json:"range,omitempty"`
}

// refuse answers with a problem.
func refuse(w http.ResponseWriter, code int, text string) { answer(w, code, problem{Problem: text}) }

// answer sends v as JSON.
func answer(w http.ResponseWriter, code int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(v) // a browser that is gone needs no answer
}

// handler returns what lies behind the guard.
func (l *live) handler() http.Handler {
	m := http.NewServeMux()
	m.Handle("GET /", http.FileServerFS(page.Files))
	m.HandleFunc("GET /schema", func(w http.ResponseWriter, _ *http.Request) { answer(w, http.StatusOK, scene.Schema()) })
	return m
}

// mostHeader bounds the bytes of a request's header.
const mostHeader = 16 << 10

// serve listens on the loopback address until ctx ends. host is one more name by which the page may be asked for; told hears of the
// address.
func (l *live) serve(ctx context.Context, port int, host string, told func(address string)) error {
	in, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		return err
	}
	at := in.Addr().(*net.TCPAddr).Port
	g := newGuard(at, host, l.handler())
	s := &http.Server{Handler: g, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: mostHeader,
		BaseContext: func(net.Listener) context.Context { return ctx }}
	told(fmt.Sprintf("http://127.0.0.1:%d/?key=%s", at, g.token))
	done := make(chan error, 1)
	go func() { done <- s.Serve(in) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	if err := s.Close(); err != nil {
		return err
	}
	if err := <-done; !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}
