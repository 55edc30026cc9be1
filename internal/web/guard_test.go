package web

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"io/fs"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/bcrypt"
)

// TestHosts has only names of the daemon itself answered: a page of another
// site that points its own name at this machine (DNS rebinding) is refused.
func TestHosts(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.Hosts = []string{"Bench-Pi.local"}
	loopback := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8020}
	lan := &net.TCPAddr{IP: net.IPv4(192, 0, 2, 7), Port: 8020} // RFC 5737 address
	everywhere := &net.TCPAddr{IP: net.IPv6unspecified, Port: 8020}
	for _, c := range []struct {
		name           string
		listen, arrive *net.TCPAddr
		host           string
		known          bool
	}{
		{"loopback address", loopback, loopback, "127.0.0.1:8020", true},
		{"another loopback address", loopback, loopback, "127.0.0.2:8020", true},
		{"IPv6 loopback", loopback, loopback, "[::1]:8020", true},
		{"localhost", loopback, loopback, "localhost:8020", true},
		{"localhost in capitals, with a dot", loopback, loopback, "LOCALHOST.:8020", true},
		{"name below localhost", loopback, loopback, "coilkeep.localhost", true},
		{"configured", loopback, loopback, "bench-pi.local:8020", true},
		{"foreign", loopback, loopback, "rebind.example:8020", false},
		{"foreign with a familiar end", loopback, loopback, "evil-localhost", false},
		{"none", loopback, loopback, "", false},
		{"address not ours", loopback, loopback, "192.0.2.7:8020", false},
		{"listening address", lan, lan, "192.0.2.7:8020", true},
		{"arrival address", everywhere, lan, "192.0.2.7:8020", true},
		{"another address", everywhere, lan, "192.0.2.8:8020", false},
		{"the address of all", everywhere, lan, "[::]:8020", false},
	} {
		request := httptest.NewRequest("GET", "/healthz", nil)
		request.Host = c.host
		request = request.WithContext(context.WithValue(request.Context(), http.LocalAddrContextKey, c.arrive))
		answer := httptest.NewRecorder()
		w.site(c.listen).handler().ServeHTTP(answer, request)
		status := http.StatusMisdirectedRequest
		if c.known {
			status = http.StatusOK
		}
		if answer.Code != status {
			t.Errorf("%s: got status %d, want %d", c.name, answer.Code, status)
		}
	}
}

// TestCrossOrigin has writes from another site's page refused.
func TestCrossOrigin(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	set := func(key, value string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set(key, value) }
	}
	for _, c := range []struct {
		name   string
		change func(*http.Request)
		status int
	}{
		{"no browser", func(*http.Request) {}, http.StatusOK},
		{"own page", set("Sec-Fetch-Site", "same-origin"), http.StatusOK},
		{"other site", set("Sec-Fetch-Site", "cross-site"), http.StatusForbidden},
		{"other port", set("Sec-Fetch-Site", "same-site"), http.StatusForbidden},
		{"old browser, other site", set("Origin", "https://elsewhere.example"), http.StatusForbidden},
		{"sandboxed page", set("Origin", "null"), http.StatusForbidden},
	} {
		answer := w.ask(t, "POST", "/api/v1/benches/north/next", `{}`, c.change)
		if answer.status != c.status {
			t.Errorf("%s: got status %d, want %d", c.name, answer.status, c.status)
		}
	}
}

func TestHeaders(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	for _, path := range []string{"/", "/benches/north/panel", "/assets/style.css", "/assets/live.js", "/assets/icon.svg", "/api/v1/benches",
		"/nothing"} {
		answer := w.ask(t, "GET", path, nil)
		policy := answer.header.Get("Content-Security-Policy")
		if !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") {
			t.Errorf("%s: got policy %q", path, policy)
		}
		kept := "no-store"
		if strings.HasPrefix(path, "/assets/") {
			kept = "no-cache" // kept, but asked for again
		}
		for key, value := range map[string]string{"X-Content-Type-Options": "nosniff", "Cache-Control": kept, "Referrer-Policy": "no-referrer"} {
			if got := answer.header.Get(key); got != value {
				t.Errorf("%s: got %s %q, want %q", path, key, got, value)
			}
		}
		if strings.Contains(string(answer.body), "<style") || strings.Contains(string(answer.body), " style=") ||
			strings.Contains(string(answer.body), " onclick=") {
			t.Errorf("%s: holds inline style or script, which the policy forbids", path)
		}
	}
}

// quickPassword is one whose hash is made for tests, with no pause after a
// wrong one.
func quickPassword(t *testing.T, password string) *Password {
	t.Helper()
	hash, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(path, append(hash, '\n'), 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := ReadPasswordFile(path)
	if err != nil {
		t.Fatal(err)
	}
	p.pause = 0
	return p
}

func TestPassword(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.Password = quickPassword(t, "copper and felt")
	w.start(t)
	for _, c := range []struct {
		name, path, user, password string
		status                     int
	}{
		{"none", "/api/v1/benches", "", "", 401},
		{"wrong", "/api/v1/benches", "Ada", "copper", 401},
		{"right", "/api/v1/benches", "Ada", "copper and felt", 200},
		{"right again", "/api/v1/benches", "", "copper and felt", 200},
		{"wrong after right", "/api/v1/benches", "Ada", "copper", 401},
		{"page", "/", "", "", 401},
		{"script", "/assets/live.js", "", "", 401},
		{"metrics", "/metrics", "", "", 401},
		{"events", "/api/v1/events", "", "", 401},
		{"alive", "/healthz", "", "", 200},
		{"ready", "/readyz", "", "", 200},
	} {
		answer := w.ask(t, "GET", c.path, nil, func(r *http.Request) {
			if c.user+c.password != "" {
				r.SetBasicAuth(c.user, c.password)
			}
		})
		if answer.status != c.status {
			t.Errorf("%s: got status %d, want %d", c.name, answer.status, c.status)
		}
		if challenge := answer.header.Get("WWW-Authenticate"); (challenge != "") != (c.status == 401) {
			t.Errorf("%s: got challenge %q", c.name, challenge)
		}
	}
}

// TestPasswordTries has tries wait for each other, so that guessing is slow
// however many connections guess; the right password, once seen, never waits.
func TestPasswordTries(t *testing.T) {
	t.Parallel()
	p := quickPassword(t, "copper and felt")
	if err := p.check(t.Context(), "copper and felt"); err != nil {
		t.Fatal(err)
	}
	p.pause = time.Hour
	guessing, stopGuessing := context.WithCancel(t.Context())
	done := make(chan error, 1)
	p.turn <- struct{}{} // another try is under way
	go func() { done <- p.check(guessing, "wrong") }()
	if err := p.check(t.Context(), "copper and felt"); err != nil {
		t.Errorf("the right password waits for guesses: %v", err)
	}
	<-p.turn
	stopGuessing()
	select {
	case err := <-done:
		if err == nil {
			t.Error("a wrong password was right")
		}
	case <-time.After(patience):
		t.Error("a guess does not end with its request")
	}
}

func TestPasswordFile(t *testing.T) {
	t.Parallel()
	hash, err := HashPassword("copper and felt")
	if err != nil {
		t.Fatal(err)
	}
	if bcrypt.CompareHashAndPassword([]byte(hash), []byte("copper and felt")) != nil {
		t.Error("the hash is not that of the password")
	}
	for name, password := range map[string]string{"empty": "", "blank": "  ", "too long": strings.Repeat("x", 73)} {
		if _, err := HashPassword(password); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := ReadPasswordFile(filepath.Join(t.TempDir(), "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("got %v, want that there is no file", err)
	}
	plain := filepath.Join(t.TempDir(), "plain")
	if err := os.WriteFile(plain, []byte("copper and felt\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadPasswordFile(plain); err == nil || strings.Contains(err.Error(), "felt") {
		t.Errorf("got %v, want a refusal that does not tell the password", err)
	}
}

// TestRefusesToBeOpen keeps a daemon without a password on loopback.
func TestRefusesToBeOpen(t *testing.T) {
	t.Parallel()
	listener, err := net.Listen("tcp", "0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	w := newWorkshop(t)
	err = w.Run(t.Context(), listener)
	if err == nil || !strings.Contains(err.Error(), "password_file") {
		t.Errorf("got %v, want a refusal that names password_file", err)
	}
	if _, err := listener.Accept(); !errors.Is(err, net.ErrClosed) {
		t.Errorf("got %v, want a closed listener", err)
	}
}

func TestTLS(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	certificateFile, keyFile, pool := certificate(t)
	var err error
	if w.Certificate, err = ReadCertificate(certificateFile, keyFile); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, ForceAttemptHTTP2: true}, Timeout: patience}
	defer client.CloseIdleConnections()
	response, err := client.Get(strings.Replace(w.url, "http:", "https:", 1) + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if response.StatusCode != http.StatusOK {
		t.Errorf("got status %d, want 200", response.StatusCode)
	}
}

func TestTLSFilesThatCannotServe(t *testing.T) {
	t.Parallel()
	certificateFile, keyFile, _ := certificate(t)
	_, foreignKey, _ := certificate(t)
	missing := filepath.Join(t.TempDir(), "none.pem")
	if _, err := ReadCertificate(missing, keyFile); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), missing) {
		t.Errorf("got %v, want the file that is missing", err)
	}
	for name, files := range map[string][2]string{"a key of another": {certificateFile, foreignKey},
		"no key": {certificateFile, certificateFile}} {
		if _, err := ReadCertificate(files[0], files[1]); err == nil || !strings.Contains(err.Error(), files[1]) ||
			!strings.Contains(err.Error(), "tls_key") {
			t.Errorf("%s: got %v, want a refusal that names the file and the key of the configuration", name, err)
		}
	}
}

// certificate makes a certificate for 127.0.0.1 that holds for an hour.
func certificate(t *testing.T) (certificateFile, keyFile string, pool *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "Heron Lane Coils"},
		NotBefore: time.Now().Add(-time.Minute), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	certificateFile, keyFile = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	certificatePEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	if err := errors.Join(
		os.WriteFile(certificateFile, certificatePEM, 0o600),
		os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}), 0o600),
	); err != nil {
		t.Fatal(err)
	}
	pool = x509.NewCertPool()
	pool.AppendCertsFromPEM(certificatePEM)
	return certificateFile, keyFile, pool
}
