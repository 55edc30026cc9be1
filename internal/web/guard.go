package web

import (
	"net"
	"net/http"
	"net/netip"
	"strings"

	"coilkeep/internal/web/problem"
)

// contentPolicy lets pages load only what this daemon serves, and run no
// script or style that is written into them.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// guard wraps every answer in what keeps other origins out: the host must be
// one of ours, writes must not come from another site, and pages must not be
// framed, sniffed or extended.
func (s *site) guard(next http.Handler) http.Handler {
	sameOrigin := http.NewCrossOriginProtection()
	sameOrigin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, problem.CrossOrigin.Because("the browser says that a page of another site sent this request"))
	}))
	protected := sameOrigin.Handler(s.requirePassword(next))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		if !s.knownHost(r) {
			s.fail(w, r, problem.WrongHost.Because("the host %q is not known to this coilkeep; open it under the address it "+
				"printed, or add the name to hosts in the [web] section of the configuration", r.Host))
			return
		}
		protected.ServeHTTP(w, r)
	})
}

// knownHost says whether the Host of r is one this daemon goes by: a name of
// this very machine, a configured name, or the address the request arrived at.
// A page that has its own name point here (DNS rebinding) is none of these.
func (s *site) knownHost(r *http.Request) bool {
	host := hostname(r.Host)
	if s.hosts[host] || strings.HasSuffix(host, ".localhost") {
		return true
	}
	address, err := netip.ParseAddr(host)
	if err != nil {
		return false
	}
	address = address.Unmap().WithZone("")
	if address.IsLoopback() {
		return true
	}
	local, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	return ok && address == local.AddrPort().Addr().Unmap().WithZone("")
}

// hostname takes the port and the brackets off a Host header and folds case.
func hostname(hostport string) string {
	host := hostport
	if h, _, err := net.SplitHostPort(hostport); err == nil {
		host = h
	}
	return strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
}
